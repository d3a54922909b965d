#include <faultloom/documents/schema_explainer.hpp>

#include <faultloom/base/one_line.hpp>
#include <faultloom/documents/access.hpp>
#include <faultloom/documents/names.hpp>
#include <faultloom/documents/schema_finding.hpp>

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <regex>
#include <set>
#include <string>
#include <string_view>
#include <utility>

namespace faultloom::documents {
namespace {

using nlohmann::json;

std::vector<std::string> texts(const json& list) {
  std::vector<std::string> result;
  for (const auto& item : list)
    if (item.is_string()) result.push_back(item.get<std::string>());
  return result;
}

class Explainer {
 public:
  Explainer(const json& root, Patterns& patterns) : root_(root), patterns_(patterns) {}

  Findings check(const json& schema, const json& value, const std::string& pointer) {
    if (const auto* reference = member(schema, "$ref"))
      return check(target(*reference), value, pointer);
    Findings found;
    if (schema.is_boolean()) {
      if (!schema.get<bool>())
        add(found, Finding::Kind::other, Code::schema, pointer, "Nothing may stand here");
      return found;
    }
    check_type(schema, value, pointer, found);
    if (!found.empty()) return found;
    check_choice(schema, value, pointer, found);
    if (value.is_number()) check_number(schema, value.get<double>(), pointer, found);
    if (value.is_string()) check_text(schema, value.get_ref<const std::string&>(), pointer, found);
    if (value.is_array()) check_list(schema, value, pointer, found);
    if (value.is_object()) check_object(schema, value, pointer, found);
    check_combinations(schema, value, pointer, found);
    return found;
  }

 private:
  static void add(Findings& found, Finding::Kind kind, Code code, const std::string& pointer,
                  std::string message, std::string detail = "", std::string value = "") {
    found.push_back(
        {kind, {code, std::move(message), pointer}, std::move(detail), std::move(value), {}});
  }
  static void add_missing(Findings& found, const std::string& pointer, std::string message,
                          std::vector<std::string> keys) {
    add(found, Finding::Kind::missing, Code::schema, pointer, std::move(message));
    found.back().keys = std::move(keys);
  }
  static void append(Findings& found, Findings more) {
    found.insert(found.end(), std::make_move_iterator(more.begin()),
                 std::make_move_iterator(more.end()));
  }

  const json& target(const json& reference) const {
    const auto text = reference.get<std::string>();
    if (!text.starts_with("#"))
      throw Error(Code::internal, fmt::format("Schema reference '{}' is not local", text));
    return root_.at(json::json_pointer(text.substr(1)));
  }

  const std::regex& regex(const std::string& pattern) {
    const auto found = patterns_.find(pattern);
    if (found != patterns_.end()) return found->second;
    return patterns_.emplace(pattern, std::regex(pattern, std::regex::ECMAScript)).first->second;
  }

  bool matches(const std::string& text, const std::string& pattern) {
    return std::regex_search(text, regex(pattern));
  }

  static void check_type(const json& schema, const json& value, const std::string& pointer,
                         Findings& found) {
    const auto* type = member(schema, "type");
    if (type == nullptr) return;
    const auto types =
        type->is_array() ? texts(*type) : std::vector<std::string>{type->get<std::string>()};
    std::vector<std::string> wanted;
    for (const auto& name : types) {
      if (has_type(value, name)) return;
      wanted.push_back(type_in_words(name));
    }
    add(found, Finding::Kind::type, Code::schema, pointer,
        fmt::format("Expected {}, found {}", fmt::join(wanted, " or "), in_words(value)),
        fmt::format("{}", fmt::join(wanted, " or ")), in_words(value));
  }

  static void check_choice(const json& schema, const json& value, const std::string& pointer,
                           Findings& found) {
    if (const auto* fixed = member(schema, "const"); fixed != nullptr && *fixed != value)
      add(found, Finding::Kind::choice, Code::schema, pointer,
          fmt::format("Expected {}, found {}", in_words(*fixed), in_words(value)), in_words(*fixed),
          in_words(value));
    const auto* choices = member(schema, "enum");
    if (choices == nullptr || std::find(choices->begin(), choices->end(), value) != choices->end())
      return;
    std::vector<std::string> words;
    for (const auto& choice : *choices) words.push_back(in_words(choice));
    add(found, Finding::Kind::choice, Code::schema, pointer,
        fmt::format("{} is none of {}{}", in_words(value), fmt::join(words, ", "),
                    value.is_string() ? suggestion(value.get<std::string>(), texts(*choices)) : ""),
        fmt::format("{}", fmt::join(words, ", ")), in_words(value));
  }

  static void check_number(const json& schema, double value, const std::string& pointer,
                           Findings& found) {
    const auto limit = [&](const char* key, const char* words, auto&& breaks) {
      const auto* bound = member(schema, key);
      if (bound != nullptr && bound->is_number() && breaks(bound->get<double>()))
        add(found, Finding::Kind::other, Code::value, pointer,
            fmt::format("Value {} is out of range; it must be {} {}", value, words,
                        bound->get<double>()));
    };
    limit("minimum", "at least", [&](double bound) { return value < bound; });
    limit("exclusiveMinimum", "above", [&](double bound) { return value <= bound; });
    limit("maximum", "at most", [&](double bound) { return value > bound; });
    limit("exclusiveMaximum", "below", [&](double bound) { return value >= bound; });
  }

  void check_text(const json& schema, const std::string& value, const std::string& pointer,
                  Findings& found) {
    const auto length =
        static_cast<std::size_t>(std::count_if(value.begin(), value.end(), [](char c) {
          return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U;
        }));
    if (const auto* least = member(schema, "minLength");
        least != nullptr && length < least->get<std::size_t>())
      add(found, Finding::Kind::other, Code::schema, pointer,
          fmt::format("Text of {} characters is too short; at least {} are needed", length,
                      least->get<std::size_t>()));
    if (const auto* most = member(schema, "maxLength");
        most != nullptr && length > most->get<std::size_t>())
      add(found, Finding::Kind::other, Code::schema, pointer,
          fmt::format("Text of {} characters is too long; the limit is {}", length,
                      most->get<std::size_t>()));
    if (const auto* pattern = member(schema, "pattern");
        pattern != nullptr && !matches(value, pattern->get<std::string>()))
      add(found, Finding::Kind::other, Code::schema, pointer,
          fmt::format("'{}' does not have the form {}", shortened(value),
                      pattern_in_words(pattern->get<std::string>())));
  }

  static void check_count(const json& schema, const char* least_key, const char* most_key,
                          std::size_t count, const char* things, const std::string& pointer,
                          Findings& found) {
    if (const auto* least = member(schema, least_key);
        least != nullptr && count < least->get<std::size_t>())
      add(found, Finding::Kind::other, Code::schema, pointer,
          fmt::format("Too few {}: {}, at least {} needed", things, count,
                      least->get<std::size_t>()));
    if (const auto* most = member(schema, most_key);
        most != nullptr && count > most->get<std::size_t>())
      add(found, Finding::Kind::other, Code::schema, pointer,
          fmt::format("Too many {}: {}, the limit is {}", things, count, most->get<std::size_t>()));
  }

  void check_list(const json& schema, const json& value, const std::string& pointer,
                  Findings& found) {
    check_count(schema, "minItems", "maxItems", value.size(), "items", pointer, found);
    if (const auto* unique = member(schema, "uniqueItems");
        unique != nullptr && unique->get<bool>()) {
      std::set<json> seen;
      for (std::size_t i = 0; i < value.size(); ++i)
        if (!seen.insert(value[i]).second)
          add(found, Finding::Kind::other, Code::duplicate, fmt::format("{}/{}", pointer, i),
              fmt::format("Item {} is listed twice", in_words(value[i])));
    }
    const auto* items = member(schema, "items");
    if (items == nullptr) return;
    for (std::size_t i = 0; i < value.size(); ++i) {
      const auto* item = items;
      if (items->is_array())
        item = i < items->size() ? &(*items)[i] : member(schema, "additionalItems");
      if (item != nullptr) append(found, check(*item, value[i], fmt::format("{}/{}", pointer, i)));
    }
  }

  void check_object(const json& schema, const json& value, const std::string& pointer,
                    Findings& found) {
    check_count(schema, "minProperties", "maxProperties", value.size(), "keys", pointer, found);
    for (const auto& [key, item] : value.items()) check_member(schema, value, key, pointer, found);
    const auto* required = member(schema, "required");
    if (required == nullptr) return;
    for (const auto& key : texts(*required))
      if (!value.contains(key))
        add_missing(found, pointer, fmt::format("Key '{}' is missing", key), {key});
  }

  /// A remark for an object that says its type.
  static std::string beside_type(const json& object) {
    const auto* type = member(object, "type");
    return type == nullptr ? "" : fmt::format("; {} has no such key", in_words(*type));
  }

  /// @returns whether a key may be called so
  bool check_name(const json& names, const std::string& key, const std::string& pointer,
                  Findings& found) {
    if (const auto* pattern = member(names, "pattern");
        pattern != nullptr && !matches(key, pattern->get<std::string>())) {
      add(found, Finding::Kind::unknown, Code::schema, pointer,
          fmt::format("Name '{}' does not have the form {}", shortened(key),
                      pattern_in_words(pattern->get<std::string>())));
      return false;
    }
    auto others = check(names, json(key), pointer);
    const bool good = others.empty();
    append(found, std::move(others));
    return good;
  }

  void check_member(const json& schema, const json& value, const std::string& key,
                    const std::string& pointer, Findings& found) {
    const auto* properties = member(schema, "properties");
    const auto& item = value.at(key);
    const auto here = pointer + "/" + pointer_token(key);
    if (const auto* names = member(schema, "propertyNames");
        names != nullptr && !check_name(*names, key, here, found))
      return;
    bool known = false;
    if (properties != nullptr && properties->contains(key)) {
      known = true;
      const auto& form = (*properties)[key];
      if (form.is_boolean() && !form.get<bool>()) {
        add(found, Finding::Kind::other, Code::schema, here,
            fmt::format("Key '{}' does not belong here{}", key, beside_type(value)));
      } else {
        append(found, check(form, item, here));
      }
    }
    if (const auto* patterns = member(schema, "patternProperties")) {
      for (const auto& [pattern, form] : patterns->items()) {
        if (!matches(key, pattern)) continue;
        known = true;
        append(found, check(form, item, here));
      }
    }
    const auto* others = member(schema, "additionalProperties");
    if (known || others == nullptr) return;
    if (!others->is_boolean()) {
      append(found, check(*others, item, here));
    } else if (!others->get<bool>()) {
      add_unknown(properties, key, here, found);
    }
  }

  static void add_unknown(const json* properties, const std::string& key,
                          const std::string& pointer, Findings& found) {
    std::vector<std::string> known;
    if (properties != nullptr)
      for (const auto& [name, form] : properties->items()) known.push_back(name);
    const auto near = closest_name(key, known);
    const auto unit = other_unit(key, known);
    if (!unit.empty() && (near.empty() || has_foreign_unit(key))) {
      add(found, Finding::Kind::unknown, Code::value, pointer,
          fmt::format("Key '{}' has the wrong unit; give the value as '{}'", shortened(key), unit),
          unit);
    } else if (!near.empty()) {
      add(found, Finding::Kind::unknown, Code::schema, pointer,
          fmt::format("Unknown key '{}'; did you mean '{}'?", shortened(key), near), near);
    } else {
      add(found, Finding::Kind::unknown, Code::schema, pointer,
          fmt::format("Unknown key '{}'; known keys are {}", shortened(key),
                      fmt::join(known, ", ")));
    }
  }

  void check_combinations(const json& schema, const json& value, const std::string& pointer,
                          Findings& found) {
    if (const auto* all = member(schema, "allOf"))
      for (const auto& form : *all) append(found, check(form, value, pointer));
    if (const auto* any = member(schema, "anyOf")) check_forms(*any, value, pointer, false, found);
    if (const auto* one = member(schema, "oneOf")) check_forms(*one, value, pointer, true, found);
    if (const auto* condition = member(schema, "if")) {
      const auto* branch =
          member(schema, check(*condition, value, pointer).empty() ? "then" : "else");
      if (branch != nullptr) append(found, check(*branch, value, pointer));
    }
    if (const auto* forbidden = member(schema, "not");
        forbidden != nullptr && check(*forbidden, value, pointer).empty()) {
      const auto* keys = member(*forbidden, "required");
      add(found, Finding::Kind::other, Code::schema, pointer,
          keys == nullptr ? fmt::format("{} is not allowed here", in_words(value))
                          : fmt::format("Keys '{}' can't be given together",
                                        fmt::join(texts(*keys), "' and '")));
    }
    check_dependencies(schema, value, pointer, found);
  }

  void check_dependencies(const json& schema, const json& value, const std::string& pointer,
                          Findings& found) {
    const auto* dependencies = member(schema, "dependencies");
    if (dependencies == nullptr || !value.is_object()) return;
    for (const auto& [key, needs] : dependencies->items()) {
      if (!value.contains(key)) continue;
      if (!needs.is_array()) {
        append(found, check(needs, value, pointer));
        continue;
      }
      for (const auto& needed : texts(needs))
        if (!value.contains(needed))
          add_missing(found, pointer,
                      fmt::format("Key '{}' is missing; '{}' needs it", needed, key), {needed});
    }
  }

  /// Keys that the forms require, to say "give one of ...".
  std::vector<std::string> required_keys(const json& forms) const {
    std::vector<std::string> keys;
    for (const auto& form : forms) {
      const auto* required = member(form, "required");
      if (required == nullptr || member(form, "properties") != nullptr) return {};
      for (auto& key : texts(*required)) keys.push_back(std::move(key));
    }
    return keys;
  }

  void check_forms(const json& forms, const json& value, const std::string& pointer, bool only_one,
                   Findings& found) {
    std::vector<FormTry> tries;
    std::size_t fitting = 0;
    for (const auto& form : forms) {
      tries.push_back({check(form, value, pointer), known_keys(form, value)});
      if (tries.back().findings.empty()) ++fitting;
    }
    if (fitting == 1 || (fitting > 1 && !only_one)) return;
    const auto keys = required_keys(forms);
    if (!keys.empty() && value.is_object()) {
      auto message = fmt::format("Give {} of the keys '{}'", only_one ? "exactly one" : "one",
                                 fmt::join(keys, "', '"));
      add_missing(found, pointer, std::move(message),
                  fitting == 0 ? keys : std::vector<std::string>{});
    } else if (fitting > 1) {
      add(found, Finding::Kind::other, Code::schema, pointer,
          fmt::format("{} fits {} forms at a time; it must fit one", in_words(value), fitting));
    } else {
      append(found, closest_form(std::move(tries), pointer));
    }
  }

  /// How many of an object's keys a form knows by name.
  int known_keys(const json& schema, const json& value) const {
    if (const auto* reference = member(schema, "$ref"))
      return known_keys(target(*reference), value);
    const auto* properties = member(schema, "properties");
    if (properties == nullptr || !value.is_object()) return 0;
    int count = 0;
    for (const auto& [key, item] : value.items()) count += properties->contains(key) ? 1 : 0;
    return count;
  }

  const json& root_;
  Patterns& patterns_;
};

}  // namespace

std::vector<Problem> explain(const json& schema, const json& document, Patterns& patterns) {
  auto findings = Explainer(schema, patterns).check(schema, document, "");
  drop_misspelt(findings);
  std::vector<Problem> problems;
  for (auto& finding : findings) problems.push_back(std::move(finding.problem));
  return problems;
}

}  // namespace faultloom::documents
