#include <faultloom/documents/job_shape.hpp>

#include <nlohmann/json.hpp>

#include <algorithm>
#include <initializer_list>
#include <string>
#include <string_view>

namespace faultloom::documents {
namespace {

using nlohmann::json;

bool is_letter(char c) { return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z'); }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

bool is_id(std::string_view text) {
  constexpr std::size_t longest = 64;
  return !text.empty() && text.size() <= longest && is_letter(text.front()) &&
         std::all_of(text.begin(), text.end(),
                     [](char c) { return is_letter(c) || is_digit(c) || c == '_' || c == '-'; });
}

bool is_terminal(std::string_view text) {
  const auto dot = text.find('.');
  return dot != std::string_view::npos && is_id(text.substr(0, dot)) && is_id(text.substr(dot + 1));
}

const std::string* text_of(const json& value) { return value.get_ptr<const std::string*>(); }

bool id_in(const json& value) {
  const auto* text = text_of(value);
  return text != nullptr && is_id(*text);
}

/// Plain ASCII, of which a byte is a character.
bool words_in(const json& value, std::size_t longest) {
  const auto* text = text_of(value);
  return text != nullptr && text->size() <= longest &&
         std::all_of(text->begin(), text->end(), [](char c) { return c >= ' ' && c <= '~'; });
}

bool number_in(const json& value, double low, double high) {
  return value.is_number() && value.get<double>() >= low && value.get<double>() <= high;
}

bool one_of(const json& value, std::initializer_list<std::string_view> words) {
  const auto* text = text_of(value);
  return text != nullptr && std::find(words.begin(), words.end(), *text) != words.end();
}

bool outcome_in(const json& value) {
  return one_of(value, {"bright", "dim", "dark", "beep", "silent", "overload", "yes", "no",
                        "chatters", "damage", "clean", "not_sure", "cannot_reach"});
}

bool state_in(const json& value) {
  constexpr std::size_t most = 64;
  return value.is_object() && value.size() <= most &&
         std::all_of(value.items().begin(), value.items().end(), [](const auto& item) {
           return is_id(item.key()) && !item.key().starts_with("x-") && id_in(item.value());
         });
}

bool is_reading(const json& entry) {
  std::size_t results = 0;
  int probes = 0;
  bool instrument = false;
  for (const auto& [key, value] : entry.items()) {
    bool fine = false;
    if (key == "id" || key == "instrument") {
      fine = id_in(value);
      instrument = instrument || key == "instrument";
    } else if (key == "type") {
      fine = true;
    } else if (key == "red" || key == "black") {
      const auto* text = text_of(value);
      fine = text != nullptr && is_terminal(*text);
      ++probes;
    } else if (key == "state") {
      fine = state_in(value);
    } else if (key == "isolated") {
      fine = value.is_boolean();
    } else if (key == "note") {
      fine = words_in(value, 2000);
    } else if (key == "volts") {
      fine = number_in(value, -10000, 10000);
      ++results;
    } else if (key == "ohms") {
      fine = number_in(value, 0, 1e12);
      ++results;
    } else if (key == "outcome") {
      fine = outcome_in(value);
      ++results;
    }
    if (!fine) return false;
  }
  return instrument && probes == 2 && results == 1 && entry.contains("id");
}

bool is_sign(const json& entry) {
  for (const auto& [key, value] : entry.items()) {
    const bool fine = key == "id" || key == "part" || key == "sign" ? id_in(value)
                      : key == "type"                               ? true
                      : key == "state"                              ? state_in(value)
                      : key == "note"                               ? words_in(value, 2000)
                      : key == "outcome"                            ? outcome_in(value)
                                                                    : false;
    if (!fine) return false;
  }
  return entry.contains("id") && entry.contains("part") && entry.contains("sign") &&
         entry.contains("outcome");
}

/// A look at a component, or a cue.
bool is_told(const json& entry, const char* about) {
  for (const auto& [key, value] : entry.items()) {
    const bool fine = key == "id" || key == about ? id_in(value)
                      : key == "type"             ? true
                      : key == "note"             ? words_in(value, 2000)
                      : key == "outcome"          ? outcome_in(value)
                                                  : false;
    if (!fine) return false;
  }
  return entry.contains("id") && entry.contains(about) && entry.contains("outcome");
}

bool is_entry(const json& entry) {
  if (!entry.is_object()) return false;
  const auto type = entry.find("type");
  if (type == entry.end() || text_of(*type) == nullptr) return false;
  const auto& word = *text_of(*type);
  if (word == "reading") return is_reading(entry);
  if (word == "sign") return is_sign(entry);
  if (word == "look") return is_told(entry, "component");
  return word == "cue" && is_told(entry, "cue");
}

bool is_head(const std::string& key, const json& value) {
  if (key == "format") return one_of(value, {"faultloom.job"});
  if (key == "version") return one_of(value, {"1.0"});
  if (key == "id" || key == "vehicle" || key == "environment") return id_in(value);
  if (key == "title" || key == "license") return words_in(value, 200);
  if (key == "source") return words_in(value, 2000);
  if (key == "complaint") return words_in(value, 4000);
  if (key == "exposure_hours") return number_in(value, 1e-9, 1e6);
  if (key == "labour_usd_per_hour") return number_in(value, 0, 1e5);
  return false;
}

}  // namespace

bool is_plain_job(const json& document) {
  constexpr std::size_t most_entries = 10000;
  if (!document.is_object()) return false;
  for (const auto& [key, value] : document.items()) {
    if (key != "entries") {
      if (!is_head(key, value)) return false;
      continue;
    }
    if (!value.is_array() || value.size() > most_entries ||
        !std::all_of(value.begin(), value.end(), is_entry))
      return false;
  }
  return document.contains("format") && document.contains("version") && document.contains("id") &&
         document.contains("vehicle") && document.contains("entries");
}

}  // namespace faultloom::documents
