#include <faultloom/documents/schema_finding.hpp>

#include <faultloom/base/one_line.hpp>
#include <faultloom/documents/names.hpp>

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <utility>

namespace faultloom::documents {
namespace {

using nlohmann::json;
using Kind = Finding::Kind;

bool is_child(std::string_view pointer, std::string_view parent) {
  return pointer.starts_with(parent) && pointer.size() > parent.size() &&
         pointer.find('/', parent.size() + 1) == std::string_view::npos;
}

/// What weighs against a form: a wrong type most, then a key whose fixed value tells forms apart.
int penalty(const Finding& finding, std::string_view pointer) {
  if (finding.kind == Kind::type && finding.problem.pointer == pointer) return 1000;
  if (!is_child(finding.problem.pointer, pointer)) return 0;
  if (finding.kind == Kind::choice) return 500;
  if (finding.kind == Kind::unknown) return finding.detail.empty() ? 10 : 5;
  return 0;
}

/// First finding of that kind at the value itself (types) or at one of its keys (choices).
const Finding* first_of(const Findings& findings, Kind kind, std::string_view pointer) {
  const auto found = std::find_if(findings.begin(), findings.end(), [&](const auto& finding) {
    return finding.kind == kind &&
           (kind == Kind::type ? finding.problem.pointer == pointer
                               : is_child(finding.problem.pointer, pointer));
  });
  return found == findings.end() ? nullptr : &*found;
}

/// One finding for forms that all failed for a reason of that kind at one place; empty if they did
/// not.
Findings common_reason(const std::vector<FormTry>& tries, Kind kind, const std::string& pointer,
                       std::string_view glue) {
  std::vector<std::string> expected;
  const Finding* first = nullptr;
  for (const auto& form : tries) {
    const auto* finding = first_of(form.findings, kind, pointer);
    if (finding == nullptr) return {};
    if (first == nullptr) first = finding;
    if (finding->problem.pointer != first->problem.pointer) return {};
    if (std::find(expected.begin(), expected.end(), finding->detail) == expected.end())
      expected.push_back(finding->detail);
  }
  if (first == nullptr) return {};
  auto words = fmt::format("{}", fmt::join(expected, glue));
  auto message = fmt::format("Expected {}, found {}", words, first->found);
  return {{kind,
           {Code::schema, std::move(message), first->problem.pointer},
           std::move(words),
           first->found,
           {}}};
}

}  // namespace

Findings closest_form(std::vector<FormTry> tries, const std::string& pointer) {
  if (auto common = common_reason(tries, Kind::type, pointer, " or "); !common.empty())
    return common;
  if (auto common = common_reason(tries, Kind::choice, pointer, " or "); !common.empty())
    return common;
  std::size_t best = 0;
  std::pair<int, std::size_t> least;
  for (std::size_t i = 0; i < tries.size(); ++i) {
    int against = -20 * tries[i].known_keys;
    for (const auto& finding : tries[i].findings) against += penalty(finding, pointer);
    const std::pair weight{against, tries[i].findings.size()};
    if (i != 0 && !(weight < least)) continue;
    least = weight;
    best = i;
  }
  return std::move(tries[best].findings);
}

void drop_misspelt(Findings& findings) {
  std::map<std::string, std::vector<std::string>> meant;  // by the pointer of the object
  for (const auto& finding : findings)
    if (finding.kind == Kind::unknown && !finding.detail.empty())
      meant[finding.problem.pointer.substr(0, finding.problem.pointer.rfind('/'))].push_back(
          finding.detail);
  std::erase_if(findings, [&](const Finding& finding) {
    const auto here = meant.find(finding.problem.pointer);
    if (finding.kind != Kind::missing || here == meant.end()) return false;
    return std::any_of(finding.keys.begin(), finding.keys.end(), [&](const auto& key) {
      return std::find(here->second.begin(), here->second.end(), key) != here->second.end();
    });
  });
}

std::string pattern_in_words(std::string_view pattern) {
  constexpr std::string_view or_extension = "^x-|";
  if (pattern.starts_with(or_extension))
    return pattern_in_words(pattern.substr(or_extension.size())) + " or x-... for extensions";
  if (pattern == "^x-") return "x-... for extensions";
  if (pattern == "^[A-Za-z][A-Za-z0-9_-]{0,63}$")
    return "a letter and up to 63 letters, digits, - or _";
  if (pattern == "^[A-Za-z][A-Za-z0-9_-]{0,63}\\.[A-Za-z][A-Za-z0-9_-]{0,63}$")
    return "PART.terminal";
  if (pattern == "^[A-Za-z][A-Za-z0-9_-]{0,63}:(from|to)$") return "WIRE:from or WIRE:to";
  if (pattern == "^[A-Za-z0-9]{1,16}$") return "1 to 16 letters and digits";
  if (pattern == "^1\\.[0-9]{1,3}$") return "1.0, the major version this library reads";
  if (pattern.starts_with("^[a-z][a-z0-9_]{0,47}_(ohm|"))
    return "lower case with a unit at the end: _ohm, _volt, _ampere, _watt, _metre, _mm2, "
           "_minutes, _hours or _usd";
  return std::string(pattern);
}

std::string in_words(const json& value) {
  if (value.is_object()) return "an object";
  if (value.is_array()) return "a list";
  if (value.is_string()) return "'" + shortened(value.get_ref<const std::string&>()) + "'";
  return value.dump();
}

std::string type_in_words(std::string_view type) {
  if (type == "object") return "an object";
  if (type == "array") return "a list";
  if (type == "string") return "text";
  if (type == "number") return "a number";
  if (type == "integer") return "an integer";
  if (type == "boolean") return "true or false";
  return std::string(type);
}

bool has_type(const json& value, std::string_view type) {
  if (type == "object") return value.is_object();
  if (type == "array") return value.is_array();
  if (type == "string") return value.is_string();
  if (type == "number") return value.is_number();
  if (type == "boolean") return value.is_boolean();
  if (type == "null") return value.is_null();
  return value.is_number() && std::floor(value.get<double>()) == value.get<double>();
}

bool has_foreign_unit(std::string_view key) {
  constexpr std::array<std::string_view, 32> units{
      "_kohm",   "_mohm",        "_megohm", "_milliohm", "_mv",   "_kv",   "_millivolt", "_ma",
      "_ka",     "_milliampere", "_kw",     "_mw",       "_hp",   "_mm",   "_cm",        "_km",
      "_m",      "_inch",        "_in",     "_ft",       "_feet", "_yard", "_s",         "_sec",
      "_second", "_seconds",     "_days",   "_eur",      "_gbp",  "_cm2",  "_mil",       "_kcmil"};
  return std::any_of(units.begin(), units.end(), [&](auto unit) { return key.ends_with(unit); });
}

std::string other_unit(std::string_view key, const std::vector<std::string>& known) {
  const auto bar = key.rfind('_');
  const auto stem = bar == std::string_view::npos ? key : key.substr(0, bar);
  for (const auto& candidate : known) {
    const auto unit = unit_of(candidate);
    if (unit.empty()) continue;
    const auto meant = std::string_view(candidate).substr(0, candidate.size() - unit.size());
    if (meant == key || meant == stem) return candidate;
  }
  return "";
}

}  // namespace faultloom::documents
