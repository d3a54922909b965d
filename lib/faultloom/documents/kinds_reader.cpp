#include <faultloom/documents/kinds.hpp>

#include <faultloom/documents/access.hpp>
#include <faultloom/documents/embedded.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/kind_members.hpp>
#include <faultloom/documents/names.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/text.hpp>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <set>
#include <utility>

namespace faultloom::documents {
namespace {

using nlohmann::json;

constexpr std::size_t max_ancestors = 16;

/// Resolves the kinds of one document that follows its schema.
class Reader {
 public:
  Reader(const json& document, std::vector<Problem>& problems)
      : kinds_(document.at("kinds")), problems_(problems) {
    for (const auto& [id, kind] : kinds_.items())
      if (!is_extension(id)) ids_.push_back(id);
  }

  std::map<std::string, PartKind, std::less<>> read() {
    check_ancestors();
    std::map<std::string, PartKind, std::less<>> result;
    if (!problems_.empty()) return result;
    // Ancestors come first, so that their troubles are reported under their own name and only once.
    std::stable_sort(ids_.begin(), ids_.end(),
                     [&](const auto& a, const auto& b) { return depths_[a] < depths_[b]; });
    std::set<std::string> reported;
    for (const auto& id : ids_) {
      auto kind = read_kind(id);
      std::vector<Problem> found;
      check_kind(kind, "/kinds/" + pointer_token(id), found);
      std::erase_if(found, [&](const auto& problem) { return reported.contains(problem.pointer); });
      for (auto& problem : found) {
        reported.insert(problem.pointer);
        problems_.push_back(std::move(problem));
      }
      result.emplace(id, std::move(kind));
    }
    return result;
  }

 private:
  [[nodiscard]] std::string base_of(const std::string& id) const {
    return text_or(kinds_.at(id), "based_on");
  }

  void check_ancestors() {
    for (const auto& start : ids_) {
      std::vector<std::string> path;
      auto id = start;
      for (; !id.empty() && !depths_.contains(id); id = base_of(id)) {
        if (const auto again = std::find(path.begin(), path.end(), id); again != path.end()) {
          report_loop({again, path.end()});
          break;
        }
        path.push_back(id);
        if (const auto base = base_of(id); !base.empty() && !kinds_.contains(base)) {
          add(Code::reference, id,
              fmt::format("Kind '{}' is based on '{}', which does not exist{}", id, base,
                          suggestion(base, ids_)));
          break;
        }
      }
      auto depth = depths_.contains(id) ? depths_[id] : 0;
      std::reverse(path.begin(), path.end());
      for (const auto& step : path) depths_[step] = ++depth;
      if (depth > max_ancestors)
        add(Code::limit, start,
            fmt::format("Kind '{}' has {} ancestors; the limit is {}", start, depth - 1,
                        max_ancestors - 1));
    }
  }

  void add(Code code, const std::string& id, std::string message) {
    problems_.push_back({code, std::move(message), "/kinds/" + pointer_token(id) + "/based_on"});
  }

  void report_loop(std::vector<std::string> loop) {
    std::rotate(loop.begin(), std::min_element(loop.begin(), loop.end()), loop.end());
    const auto first = loop.front();
    constexpr std::size_t most_named = 16;
    if (loop.size() > most_named) {
      const auto more = loop.size() - most_named;
      loop.resize(most_named);
      loop.push_back(fmt::format("{} more", more));
    }
    add(Code::loop, first,
        fmt::format("Kinds are based on each other in a loop: {} -> {}; take one 'based_on' away",
                    fmt::join(loop, " -> "), first));
  }

  /// The kind with its ancestors' members. Loops were excluded before.
  [[nodiscard]] json merged(const std::string& id) const {
    const auto& own = kinds_.at(id);
    const auto base = base_of(id);
    if (base.empty()) return own;
    auto result = merged(base);
    for (const auto& [key, value] : own.items()) {
      if (value.is_object() && result.contains(key) && result[key].is_object()) {
        result[key].update(value);
      } else {
        result[key] = value;
      }
    }
    return result;
  }

  /// Where an inherited or own member that is no group of entries stands in the document.
  [[nodiscard]] std::string origin(std::string id, std::string_view key) const {
    while (!base_of(id).empty() && !kinds_.at(id).contains(std::string(key))) id = base_of(id);
    return fmt::format("/kinds/{}/{}", pointer_token(id), key);
  }

  /// Where an inherited or own entry stands in the document.
  [[nodiscard]] std::string origin(std::string id, std::string_view group,
                                   const std::string& key) const {
    while (true) {
      const auto* entries = member(kinds_.at(id), group);
      const auto base = base_of(id);
      if (base.empty() || (entries != nullptr && entries->contains(key)))
        return fmt::format("/kinds/{}/{}/{}", pointer_token(id), group, pointer_token(key));
      id = base;
    }
  }

  [[nodiscard]] PartKind read_kind(const std::string& id) const {
    const auto value = merged(id);
    PartKind kind;
    kind.id = id;
    kind.title = text_or(value, "title", id);
    kind.terminals = texts_or_none(value, "terminals");
    kind.cautions = texts_or_none(value, "cautions");
    for_members(value, "parameters", [&](const std::string& name, const json& parameter) {
      kind.parameters[name] = {parameter.at("value").get<double>(),
                               number_or(parameter, "tolerance", 0),
                               origin(id, "parameters", name)};
    });
    for_members(value, "elements", [&](const std::string& name, const json& element) {
      kind.elements.push_back(element_of(name, element));
      kind.elements.back().pointer = origin(id, "elements", name);
    });
    for_members(value, "signs", [&](const std::string& name, const json& sign) {
      kind.signs.push_back(sign_of(name, sign));
      kind.signs.back().pointer = origin(id, "signs", name);
    });
    for_members(value, "modes", [&](const std::string& name, const json& mode) {
      kind.modes.push_back(mode_of(name, mode));
      kind.modes.back().pointer = origin(id, "modes", name);
    });
    kind.swaps_pointer = origin(id, "swaps");
    if (const auto* swaps = member(value, "swaps"))
      for (const auto& pair : *swaps)
        kind.swaps.push_back({pair.at(0).get<std::string>(), pair.at(1).get<std::string>()});
    kind.work_minutes = number_or(value, "work_minutes", kind.work_minutes);
    kind.work_price_usd = number_or(value, "work_price_usd", kind.work_price_usd);
    if (const auto* repair = member(value, "repair"))
      kind.repair = {text_or(*repair, "action", "replace"), number_or(*repair, "minutes", 0),
                     number_or(*repair, "price_usd", 0)};
    if (const auto* look = member(value, "look")) {
      kind.look_minutes = number_or(*look, "minutes", 0);
      kind.look_false_alarm = number_or(*look, "false_alarm", kind.look_false_alarm);
    }
    return kind;
  }

  const json& kinds_;
  std::vector<Problem>& problems_;
  std::vector<std::string> ids_;
  std::map<std::string, std::size_t> depths_;  ///< 1 for a kind that is based on none
};

}  // namespace

KindCatalog read_kinds(std::string_view text) {
  const auto document = parse_text(text);
  std::vector<Problem> problems;
  check_schema(document, "kinds", problems);
  throw_if_any(std::move(problems));
  problems.clear();
  auto kinds = as_read([&] { return Reader(document, problems).read(); });
  throw_if_any(std::move(problems));
  return KindCatalog(std::move(kinds));
}

KindCatalog default_kinds() { return read_kinds(embedded_document("kinds")); }

}  // namespace faultloom::documents
