#include <faultloom/documents/entry_reader.hpp>

#include <faultloom/documents/access.hpp>
#include <faultloom/documents/names.hpp>
#include <faultloom/documents/wording.hpp>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <span>
#include <string_view>
#include <utility>
#include <vector>

namespace faultloom::documents {
namespace {

using nlohmann::json;
using readings::Entry;
using readings::Instrument;
using readings::Outcome;
using vehicle::none;

constexpr std::array number_keys{"volts", "ohms", "amps"};
/// Key of a number and of how far off it may be.
constexpr std::array<std::pair<const char*, const char*>, 3> tolerance_keys{
    {{"volts", "tolerance_volt"}, {"ohms", "tolerance_ohm"}, {"amps", "tolerance_ampere"}}};

constexpr std::array lamp_words{Outcome::bright, Outcome::dim, Outcome::dark};
constexpr std::array beeper_words{Outcome::beep, Outcome::silent};
constexpr std::array ohmmeter_words{Outcome::overload};
constexpr std::array sign_words{Outcome::yes, Outcome::no, Outcome::chatters};
constexpr std::array look_words{Outcome::damage, Outcome::clean};
constexpr std::array cue_words{Outcome::yes, Outcome::no};
constexpr std::array open_words{Outcome::not_sure, Outcome::cannot_reach};
constexpr std::array unasked_words{Outcome::not_sure};

/// A word that only some things answer with, and what it means.
struct SpecialWord {
  std::string_view word;
  Outcome outcome;
};
constexpr std::array setting_words{SpecialWord{"set_wrong", Outcome::damage},
                                   SpecialWord{"set_right", Outcome::clean}};

/// What an instrument or a person can answer.
struct Answers {
  std::string_view number;  ///< key of its number, "" if it shows none
  std::span<const Outcome> words;
  std::span<const SpecialWord> special = {};
  std::span<const Outcome> open = open_words;  ///< words that say nothing about the circuit
};

Answers answers_of(Instrument::Type type) {
  switch (type) {
    case Instrument::Type::voltmeter:
      return {"volts", {}};
    case Instrument::Type::lamp:
      return {"", lamp_words};
    case Instrument::Type::ohmmeter:
      return {"ohms", ohmmeter_words};
    case Instrument::Type::beeper:
      return {"", beeper_words};
    case Instrument::Type::clamp:
      return {"amps", {}};
  }
  return {};
}

bool needs_isolation(const Instrument& instrument) {
  return instrument.type == Instrument::Type::ohmmeter ||
         instrument.type == Instrument::Type::beeper;
}

class EntryReader {
 public:
  EntryReader(const json& value, const std::string& pointer, const vehicle::Vehicle& vehicle,
              Resolver& resolver, const readings::InstrumentSet& set, const CueTable* cues)
      : value_(value),
        pointer_(pointer),
        vehicle_(vehicle),
        resolver_(resolver),
        set_(set),
        cues_(cues) {}

  std::vector<Entry> read() {
    entry_.id = text_or(value_, "id");
    entry_.visit = value_or(value_, "visit", 0);
    const auto type = text_or(value_, "type");
    if (type == "reading") {
      read_reading();
    } else if (type == "sign") {
      read_sign();
    } else if (type == "look") {
      read_look();
    } else if (type == "cue") {
      read_cue();
    } else if (type == "repair") {
      read_repair();
    } else {
      resolver_.add(Code::schema, fmt::format("There is no type of entry '{}'", type), at("type"));
    }
    auto entries = outcomes_.empty() ? std::vector{entry_} : repeated();
    if (value_.contains("when")) read_when(entries);
    return entries;
  }

 private:
  [[nodiscard]] std::string at(std::string_view key) const {
    return fmt::format("{}/{}", pointer_, key);
  }

  void read_sign() {
    entry_.type = Entry::Type::sign;
    const auto owner = resolver_.component(text_or(value_, "part"), at("part"));
    if (owner != none) entry_.sign = resolver_.sign(owner, text_or(value_, "sign"), at("sign"));
    read_circumstances();
    if (value_.contains("tries")) {
      read_tries();
    } else {
      read_answer({"", sign_words}, "A sign");
    }
  }

  void read_look() {
    entry_.type = Entry::Type::look;
    entry_.component = resolver_.component(text_or(value_, "component"), at("component"));
    const bool known = entry_.component != none;
    const bool setting =
        known && vehicle_.components[static_cast<std::size_t>(entry_.component)].type ==
                     vehicle::Component::Type::setting;
    Answers answers{"", look_words};
    // What an unknown component would answer with, nobody can say.
    if (setting || !known) answers.special = setting_words;
    read_answer(answers, setting ? "A look at a setting" : "A look");
  }

  void read_repair() {
    entry_.type = Entry::Type::repair;
    entry_.component = resolver_.component(text_or(value_, "component"), at("component"));
    entry_.action = text_or(value_, "action");
    if (entry_.component == none || !entry_.action.empty()) return;
    const auto& component = vehicle_.components[static_cast<std::size_t>(entry_.component)];
    entry_.action = component.repair.action.empty() ? "put_right" : component.repair.action;
  }

  void read_cue() {
    entry_.type = Entry::Type::cue;
    entry_.cue = text_or(value_, "cue");
    if (cues_ != nullptr && !cues_->contains(entry_.cue)) {
      std::vector<std::string> known;
      for (const auto& [id, cue] : *cues_) known.push_back(id);
      auto hint = suggestion(entry_.cue, known);
      if (hint.empty())
        hint = known.empty() ? "; the rates document has none"
                             : fmt::format("; there is {}", fmt::join(known, ", "));
      resolver_.add(Code::reference, fmt::format("There is no cue '{}'{}", entry_.cue, hint),
                    at("cue"));
    }
    read_answer({"", cue_words, {}, unasked_words}, "A cue");
  }

  /// How often each answer came when the same thing was tried again and again.
  void read_tries() {
    const auto& tries = value_.at("tries");
    for (const auto outcome : sign_words)
      outcomes_.insert(outcomes_.end(), value_or<std::size_t>(tries, readings::name_of(outcome), 0),
                       outcome);
    if (outcomes_.empty())
      resolver_.add(Code::value, "'tries' counts nothing; give at least one try", at("tries"));
  }

  /// The entry once for each of `outcomes_`.
  std::vector<Entry> repeated() {
    std::vector<Entry> entries(outcomes_.size(), entry_);
    for (std::size_t i = 0; i < entries.size(); ++i) {
      entries[i].outcome = outcomes_[i];
      if (i > 0) entries[i].id = fmt::format("{}#{}", entry_.id, i + 1);
    }
    return entries;
  }

  /// The sign that told when: one more entry of the same moment, and those of the tries before it, which
  /// went the other way.
  void read_when(std::vector<Entry>& entries) {
    if (!outcomes_.empty()) {
      resolver_.add(Code::reading, "'when' tells of one moment, 'tries' of many: give one of them",
                    at("when"));
      return;
    }
    const auto& when = value_.at("when");
    const auto owner = resolver_.component(text_or(when, "part"), at("when/part"));
    if (owner == none) return;
    Entry told;
    told.type = Entry::Type::sign;
    told.sign = resolver_.sign(owner, text_or(when, "sign"), at("when/sign"));
    if (told.sign == none) return;
    if (entry_.type == Entry::Type::sign && told.sign == entry_.sign)
      resolver_.add(Code::reading, "A sign can't tell when it was noticed itself; name another one",
                    at("when/sign"));
    if (!entry_.lifted_elements.empty())
      resolver_.add(Code::reading, "With the pack isolated nothing runs; leave 'when' out",
                    at("when"));
    told.state = entry_.state;
    told.bridged_elements = entry_.bridged_elements;
    told.visit = entry_.visit;
    told.provocation = entry_.provocation;
    told.provoked_zone = entry_.provoked_zone;
    entries.front().told_by = told.sign;
    const auto add = [&](Outcome outcome, bool same_moment) {
      auto one = told;
      one.id = fmt::format("{}#{}", entry_.id, entries.size() + 1);
      one.outcome = outcome;
      if (same_moment) one.moment = entry_.id;
      entries.push_back(std::move(one));
    };
    entries.front().moment = entry_.id;
    const auto word = text_or(when, "outcome");
    for (const auto outcome : sign_words)
      if (readings::name_of(outcome) == word) {
        entries.front().told = outcome;
        add(outcome, true);
      }
    const auto before = value_or<std::size_t>(when, "after", 0);
    for (std::size_t i = 0; i < before; ++i)
      add(word == readings::name_of(Outcome::yes) ? Outcome::no : Outcome::yes, false);
  }

  void read_reading() {
    entry_.type = Entry::Type::reading;
    read_circumstances();
    entry_.instrument =
        resolve_instrument(text_or(value_, "instrument"), at("instrument"), resolver_, set_);
    const auto* instrument = entry_.instrument < 0
                                 ? nullptr
                                 : &set_.instruments[static_cast<std::size_t>(entry_.instrument)];
    read_place(instrument);
    if (instrument == nullptr) return;
    if (needs_isolation(*instrument) && !flag_or(value_, "isolated", false))
      resolver_.add(
          Code::reading,
          fmt::format("'{}': isolate the pack before reading ohms, then give \"isolated\": true",
                      instrument->id),
          pointer_);
    read_answer(answers_of(instrument->type), fmt::format("Instrument '{}'", instrument->id));
    if (entry_.outcome == Outcome::number) check_number(*instrument);
    read_tolerance();
  }

  /// How far off the number may be as noted; it goes by the key that fits the number's.
  void read_tolerance() {
    for (const auto& [number, key] : tolerance_keys) {
      if (!value_.contains(key)) continue;
      if (value_.contains(number)) {
        entry_.tolerance = value_.at(key).get<double>();
      } else {
        resolver_.add(Code::reading,
                      fmt::format("'{}' belongs to '{}', which is not given; {}", key, number,
                                  tolerance_advice()),
                      at(key));
      }
    }
  }

  [[nodiscard]] std::string tolerance_advice() const {
    for (const auto& [number, key] : tolerance_keys)
      if (value_.contains(number)) return fmt::format("use '{}' with '{}'", key, number);
    return "leave it out, an answer in words has no tolerance";
  }

  void read_circumstances() {
    entry_.state = resolver_.state(value_, pointer_);
    entry_.lifted_elements = resolver_.lifted(value_, pointer_);
    entry_.bridged_elements = resolver_.bridged(value_, pointer_);
    const auto* provoked = member(value_, "provoked");
    if (provoked == nullptr) return;
    const auto how = text_or(*provoked, "how");
    for (const auto provocation :
         {Entry::Provocation::wiggle, Entry::Provocation::heat, Entry::Provocation::wet})
      if (provocation_text(provocation) == how) entry_.provocation = provocation;
    entry_.provoked_zone = resolver_.zone(text_or(*provoked, "zone"), at("provoked/zone"));
  }

  /// Where the instrument was put: two terminals, or around a wire.
  void read_place(const Instrument* instrument) {
    const bool wire = value_.contains("wire");
    const bool probes = value_.contains("red") || value_.contains("black");
    const bool clamp = instrument != nullptr ? instrument->type == Instrument::Type::clamp : wire;
    if (clamp && probes)
      resolver_.add(Code::reading,
                    "A clamp goes around a wire: give 'wire' instead of 'red' and 'black'",
                    pointer_);
    if (!clamp && wire)
      resolver_.add(Code::reading, "Only a clamp goes around a wire: give 'red' and 'black'",
                    at("wire"));
    if (clamp) {
      if (wire) entry_.element = resolver_.wire_element(text_or(value_, "wire"), at("wire"));
      if (!wire && !probes) resolver_.add(Code::reading, "A clamp reading needs 'wire'", pointer_);
      return;
    }
    entry_.red = probe("red", wire);
    entry_.black = probe("black", wire);
    if (entry_.red != none && entry_.red == entry_.black)
      resolver_.add(
          Code::reading,
          fmt::format("Both probes are on {}; name two terminals", text_or(value_, "red")),
          at("black"));
  }

  vehicle::Index probe(std::string_view key, bool reported) {
    if (value_.contains(key)) return resolver_.terminal(text_or(value_, key), at(key));
    if (!reported) resolver_.add(Code::reading, fmt::format("A reading needs '{}'", key), pointer_);
    return none;
  }

  /// The one result among "volts", "ohms", "amps" and "outcome".
  void read_answer(const Answers& answers, std::string_view who) {
    std::vector<std::string> given;
    for (const auto* key : {number_keys[0], number_keys[1], number_keys[2], "outcome"})
      if (value_.contains(key)) given.emplace_back(key);
    if (given.size() != 1) {
      resolver_.add(Code::reading,
                    given.empty()
                        ? fmt::format("The result is missing: {} answers with {}", lowered(who),
                                      choices(answers))
                        : fmt::format("Give one result, not {}", fmt::join(given, " and ")),
                    pointer_);
      return;
    }
    const auto& key = given.front();
    if (key != "outcome") {
      entry_.outcome = Outcome::number;
      entry_.number = value_.at(key).get<double>();
      if (key != answers.number)
        resolver_.add(
            Code::reading,
            fmt::format("{} doesn't read {}; it answers with {}", who, key, choices(answers)),
            at(key));
      return;
    }
    const auto word = text_or(value_, "outcome");
    const auto outcome = find_word(answers, word);
    if (outcome) {
      entry_.outcome = *outcome;
    } else {
      resolver_.add(
          Code::reading,
          fmt::format("{} doesn't answer '{}'; it answers with {}", who, word, choices(answers)),
          at("outcome"));
    }
  }

  static std::optional<Outcome> find_word(const Answers& answers, std::string_view word) {
    for (const auto list : {answers.words, answers.open})
      for (const auto outcome : list)
        if (readings::name_of(outcome) == word) return outcome;
    for (const auto& special : answers.special)
      if (special.word == word) return special.outcome;
    return std::nullopt;
  }

  static std::string lowered(std::string_view who) {
    std::string text(who);
    text[0] = static_cast<char>(text[0] - 'A' + 'a');
    return text;
  }

  static std::string choices(const Answers& answers) {
    std::vector<std::string_view> names;
    if (!answers.number.empty()) names.push_back(answers.number);
    for (const auto word : answers.words) names.push_back(readings::name_of(word));
    for (const auto& special : answers.special) names.push_back(special.word);
    for (const auto word : answers.open) names.push_back(readings::name_of(word));
    return fmt::format("{}", fmt::join(names, ", "));
  }

  /// A display shows nothing beyond its full scale, and no ohmmeter shows less than nothing.
  void check_number(const Instrument& instrument) {
    const auto key = answers_of(instrument.type).number;
    if (key.empty() || !value_.contains(key)) return;
    if (std::abs(entry_.number) > instrument.full_scale)
      resolver_.add(Code::reading,
                    fmt::format("Instrument '{}' shows at most {}, not {}; check the unit",
                                instrument.id, instrument.full_scale, entry_.number),
                    at(key));
    if (instrument.type == Instrument::Type::ohmmeter && entry_.number < 0)
      resolver_.add(Code::reading,
                    "Resistance can't be negative; swap the probes and isolate the pack", at(key));
  }

  const json& value_;
  const std::string& pointer_;
  const vehicle::Vehicle& vehicle_;
  Resolver& resolver_;
  const readings::InstrumentSet& set_;
  const CueTable* cues_;
  Entry entry_;
  std::vector<Outcome> outcomes_;  ///< of each try; empty if there is just one
};

}  // namespace

int resolve_instrument(const std::string& id, const std::string& pointer, Resolver& resolver,
                       const readings::InstrumentSet& instruments) {
  const auto found = instruments.find(id);
  if (found < 0) {
    std::vector<std::string> known;
    for (const auto& instrument : instruments.instruments) known.push_back(instrument.id);
    const auto hint = suggestion(id, known);
    resolver.add(
        Code::reference,
        fmt::format("There is no instrument '{}'{}", id,
                    hint.empty() ? fmt::format("; there is {}", fmt::join(known, ", ")) : hint),
        pointer);
  }
  return found;
}

std::vector<Entry> read_entry(const json& value, const std::string& pointer,
                              const vehicle::Vehicle& vehicle, Resolver& resolver,
                              const readings::InstrumentSet& instruments, const CueTable* cues) {
  return EntryReader(value, pointer, vehicle, resolver, instruments, cues).read();
}

std::string written_id(const std::string& id) { return id.substr(0, id.find('#')); }

}  // namespace faultloom::documents
