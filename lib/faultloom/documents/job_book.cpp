#include <faultloom/documents/job_book.hpp>

#include <faultloom/base/one_line.hpp>
#include <faultloom/documents/access.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/model_parts.hpp>
#include <faultloom/documents/names.hpp>
#include <faultloom/documents/ordered_members.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/text.hpp>
#include <faultloom/vehicle/run_list.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <utility>

namespace faultloom::documents {
namespace {

using Json = JobBook::Json;

/// As many entries as a job may have, each try counted.
constexpr std::size_t max_weight = 10000;
constexpr std::size_t max_counted_tries = 100000;

/// Members that no change may set, with what to do instead.
constexpr std::pair<std::string_view, std::string_view> fixed_members[] = {
    {"format", "a job stays one"},
    {"version", "a job keeps its version"},
    {"id", "begin another job for another id"},
    {"vehicle", "begin another job for another vehicle"},
    {"entries", "add entries, or withdraw them"},
    {"withdrawn", "withdraw entries instead"}};

const std::string* text_in(const Json& object, const char* key) {
  if (!object.is_object()) return nullptr;
  const auto found = object.find(key);
  return found == object.end() ? nullptr : found->get_ptr<const std::string*>();
}

/// How many entries one counts for: each of its tries.
std::size_t weight_of(const Json& entry) {
  if (!entry.is_object() || !entry.contains("tries") || !entry["tries"].is_object()) return 1;
  std::size_t weight = 0;
  for (const auto& [name, count] : entry["tries"].items())
    if (!is_extension(name) && count.is_number_unsigned())
      weight += std::min<std::size_t>(count.get<std::size_t>(), max_counted_tries);
  return std::max<std::size_t>(weight, 1);
}

/// The number of "e17", 0 if it is no such id.
std::size_t number_in(std::string_view id) {
  if (id.size() < 2 || id.size() > 10 || id[0] != 'e') return 0;
  std::size_t number = 0;
  const auto [end, problem] = std::from_chars(id.data() + 1, id.data() + id.size(), number);
  return problem == std::errc() && end == id.data() + id.size() ? number : 0;
}

/// The same value without regard to the order of members.
bool same(const Json& a, const Json& b) { return nlohmann::json(a) == nlohmann::json(b); }

/// Adds a name; false if it is there.
bool add(OrderedNames& names, std::string name) {
  const auto [place, is_new] = names.known.insert(std::move(name));
  if (is_new) names.order.push_back(&*place);
  return is_new;
}

void take_over(OrderedNames& from, OrderedNames& into) noexcept {
  into.known.merge(from.known);
  into.order.insert(into.order.end(), from.order.begin(), from.order.end());
}

template <typename Value>
void reserve_more(std::vector<Value>& values, std::size_t more) {
  if (values.capacity() - values.size() >= more) return;
  values.reserve(std::max(2 * values.capacity(), values.size() + more));
}

/// Whether a place in a job document is the id of an entry, as in "/entries/12/id".
bool is_entry_id(std::string_view pointer) {
  return pointer.starts_with("/entries/") && pointer.ends_with("/id") &&
         std::count(pointer.begin(), pointer.end(), '/') == 3;
}

/// Puts a place in the parts of a change where the checks speak of a job document.
std::string place_in_change(const std::string& pointer) {
  constexpr std::string_view entries = "/entries";
  if (pointer.starts_with(entries)) return "/add" + pointer.substr(entries.size());
  return pointer.empty() ? pointer : "/set" + pointer;
}

}  // namespace

void check_job_ids(const nlohmann::json& document, std::vector<Problem>& problems) {
  std::set<std::string, std::less<>> ids;
  for (std::size_t i = 0; i < document["entries"].size(); ++i) {
    const auto id = text_or(document["entries"][i], "id");
    if (!ids.insert(id).second)
      problems.push_back({Code::duplicate,
                          fmt::format("Two entries have the id '{}'; give each its own", id),
                          fmt::format("/entries/{}/id", i)});
  }
  const auto withdrawn = texts_or_none(document, "withdrawn");
  for (std::size_t i = 0; i < withdrawn.size(); ++i)
    if (!ids.contains(withdrawn[i]))
      problems.push_back({Code::reference, fmt::format("There is no entry '{}'", withdrawn[i]),
                          fmt::format("/withdrawn/{}", i)});
}

JobBook::JobBook(std::string_view document, std::optional<Model> model)
    : model_(std::move(model)),
      own_schema_(model_ ? nullptr : std::make_shared<const Schema>("job")) {
  const auto checked = parse_text(document);
  if (model_) {
    (void)model_->parts().job(document);
  } else {
    std::vector<Problem> problems;
    schema().check(checked, problems);
    throw_if_any(std::move(problems));
    check_job_ids(checked, problems);
    throw_if_any(std::move(problems));
  }
  auto parsed = parse_ordered(document);
  for (auto& entry : parsed["entries"]) {
    weight_ += weight_of(entry);
    const auto& id = *text_in(entry, "id");
    highest_number_ = std::max(highest_number_, number_in(id));
    add(ids_, id);
    entries_.push_back(std::move(entry));
  }
  if (const auto withdrawn = parsed.find("withdrawn"); withdrawn != parsed.end()) {
    names_withdrawn_ = true;
    for (const auto& id : *withdrawn) add(withdrawn_, id.get<std::string>());
  }
  parsed.erase("entries");
  parsed.erase("withdrawn");
  head_ = std::move(parsed);
}

JobBook JobBook::begun(std::string_view id, std::string_view vehicle_id,
                       std::optional<Model> model) {
  if (!vehicle::is_id(id))
    throw Error(Code::schema,
                "The id of the job is none; a letter and up to 63 letters, digits, - or _ make one",
                "/id");
  const Json document{{"format", "faultloom.job"},
                      {"version", "1.0"},
                      {"id", std::string(id)},
                      {"vehicle", std::string(vehicle_id)},
                      {"entries", Json::array()}};
  return JobBook(document.dump(), std::move(model));
}

JobBook::Json JobBook::document() const {
  Json whole = head_;
  whole.erase("closing");
  whole["entries"] = entries_;
  if (names_withdrawn_ || !withdrawn_.order.empty()) {
    auto& list = whole["withdrawn"] = Json::array();
    for (const auto* id : withdrawn_.order) list.push_back(*id);
  }
  if (const auto closing = head_.find("closing"); closing != head_.end())
    whole["closing"] = *closing;
  return whole;
}

std::string JobBook::text() const { return document().dump(2) + "\n"; }

std::string JobBook::line() const { return document().dump(); }

std::string JobBook::member_text(std::string_view name) const {
  const auto* text = text_in(head_, std::string(name).c_str());
  return text == nullptr ? "" : *text;
}

std::string JobBook::next_id(std::size_t more) const {
  // Others than such a number may still be taken by hand, as in "e0007".
  for (std::size_t number = highest_number_ + 1 + more;; ++number)
    if (auto id = fmt::format("e{}", number); !ids_.known.contains(id)) return id;
}

std::string JobBook::nearest_id(std::string_view id) const {
  return suggestion(id, {ids_.known.begin(), ids_.known.end()});
}

void JobBook::read_set(const Json& members, Change& change, std::vector<Problem>& problems) const {
  OrderedMembers head(head_);
  bool changed = false;
  for (const auto& [name, value] : members.items()) {
    const auto* fixed = std::find_if(std::begin(fixed_members), std::end(fixed_members),
                                     [&, key = name](const auto& f) { return f.first == key; });
    if (fixed != std::end(fixed_members)) {
      problems.push_back({Code::value, fmt::format("'{}' can't be set; {}", name, fixed->second),
                          "/set/" + pointer_token(name)});
      continue;
    }
    const auto* present = head.find(name);
    if (value.is_null() ? present == nullptr : present != nullptr && same(*present, value))
      continue;
    changed = true;
    if (value.is_null()) {
      head.erase(name);
    } else {
      head.set(name, value);
    }
  }
  if (changed) change.head = head.object();
}

void JobBook::read_additions(const Json& entries, Change& change,
                             std::vector<Problem>& problems) const {
  const auto too_many = [&] {
    problems.push_back(
        {Code::limit,
         fmt::format("A job has at most {} entries, each try counted; begin another", max_weight),
         "/add"});
  };
  if (entries.size() > max_weight) return too_many();
  std::size_t named = 0;
  for (std::size_t i = 0; i < entries.size(); ++i) {
    Json entry = entries[i];
    if (entry.is_object() && !entry.contains("id")) {
      Json with_id{{"id", next_id(named++)}};
      while (change.ids.known.contains(with_id["id"].get<std::string>()))
        with_id["id"] = next_id(named++);
      for (auto& [key, value] : entry.items()) append_member(with_id, key, std::move(value));
      entry = std::move(with_id);
    }
    if (const auto* id = text_in(entry, "id"); id != nullptr) {
      if (ids_.known.contains(*id) || !add(change.ids, *id))
        problems.push_back({Code::duplicate,
                            fmt::format("There is an entry '{}' already; give this one another id, "
                                        "or none to get one",
                                        *id),
                            fmt::format("/add/{}/id", i)});
      change.added.push_back(*id);
    }
    change.weight += weight_of(entry);
    change.entries.push_back(std::move(entry));
  }
  if (weight_ + change.weight > max_weight) too_many();
}

void JobBook::read_withdrawals(const Json& ids, Change& change,
                               std::vector<Problem>& problems) const {
  if (ids.size() > max_weight) {
    problems.push_back(
        {Code::limit,
         fmt::format("{} entries are taken back; a job has at most {}", ids.size(), max_weight),
         "/withdraw"});
    return;
  }
  for (std::size_t i = 0; i < ids.size(); ++i) {
    const auto pointer = fmt::format("/withdraw/{}", i);
    const auto* id = ids[i].get_ptr<const std::string*>();
    if (id == nullptr) {
      problems.push_back({Code::schema, "The id of an entry is a text", pointer});
    } else if (!ids_.known.contains(*id) && !change.ids.known.contains(*id)) {
      problems.push_back({Code::reference,
                          fmt::format("There is no entry '{}'{}", shortened(*id),
                                      problems.size() < max_problems ? nearest_id(*id) : ""),
                          pointer});
    } else if (!withdrawn_.known.contains(*id)) {
      add(change.withdrawn, *id);
    }
  }
}

void JobBook::check_content(const Change& change, std::vector<Problem>& problems) const {
  if (!change.head && change.entries.empty()) return;
  Json part = change.head ? *change.head : head_;
  // What an earlier closing says was checked when it came.
  if (!change.head) part.erase("closing");
  part["entries"] = change.entries;
  std::vector<Problem> found;
  if (model_) {
    try {
      (void)model_->parts().job(part.dump());
    } catch (const Error& error) {
      found = error.problems();
    }
  } else {
    schema().check(nlohmann::json(part), found);
  }
  for (auto& problem : found) {
    // Told already, and better.
    if (problem.code == Code::duplicate && is_entry_id(problem.pointer)) continue;
    problem.pointer = place_in_change(problem.pointer);
    problems.push_back(std::move(problem));
  }
}

const Schema& JobBook::schema() const { return model_ ? model_->parts().job_schema : *own_schema_; }

void JobBook::make_room(const Change& change) {
  reserve_more(entries_, change.entries.size());
  reserve_more(ids_.order, change.ids.order.size());
  reserve_more(withdrawn_.order, change.withdrawn.order.size());
}

JobBook::Change JobBook::prepare(std::string_view change_text) {
  const auto given = parse_ordered(change_text);
  std::vector<Problem> problems;
  Change change;
  if (!given.is_object())
    throw Error(Code::schema, R"(A change is an object with "add", "withdraw" or "set")");
  const auto part = [&](const char* name, bool object) -> Json {
    const auto found = given.find(name);
    if (found == given.end()) return object ? Json::object() : Json::array();
    if (object ? found->is_object() : found->is_array()) return *found;
    problems.push_back({Code::schema,
                        fmt::format("'{}' must be {}", name, object ? "an object" : "a list"),
                        fmt::format("/{}", name)});
    return object ? Json::object() : Json::array();
  };
  for (const auto& [name, value] : given.items())
    if (name != "add" && name != "withdraw" && name != "set" && !is_extension(name))
      problems.push_back({Code::schema,
                          fmt::format("Unknown member '{}'{}", shortened(name),
                                      suggestion(name, {"add", "withdraw", "set"})),
                          "/" + pointer_token(name)});
  read_set(part("set", true), change, problems);
  read_additions(part("add", false), change, problems);
  read_withdrawals(part("withdraw", false), change, problems);
  const bool closed_before = head_.contains("closing");
  const bool still_closed =
      closed_before && (!change.head || (change.head->contains("closing") &&
                                         same((*change.head)["closing"], head_["closing"])));
  if (still_closed && !(change.entries.empty() && change.withdrawn.order.empty()))
    problems.push_back({Code::value,
                        R"(The job is closed; open it again with "set": {"closing": null})",
                        change.entries.empty() ? "/withdraw" : "/add"});
  check_content(change, problems);
  throw_if_any(std::move(problems));
  Json taken = Json::object();
  if (!change.entries.empty()) taken["add"] = change.entries;
  for (const auto* id : change.withdrawn.order) taken["withdraw"].push_back(*id);
  if (change.head) taken["set"] = given["set"];
  if (!taken.empty()) change.text = taken.dump();
  make_room(change);
  return change;
}

JobBook::Change JobBook::prepare_part(const std::string& before, std::string_view part,
                                      const std::string& after, std::string_view place) {
  (void)parse_text(part);  // so that what is no JSON is told by its own lines and columns
  try {
    return prepare(before + std::string(part) + after);
  } catch (const Error& error) {
    auto problems = error.problems();
    for (auto& problem : problems)
      if (problem.pointer.starts_with(place)) {
        problem.pointer.erase(0, place.size());
      } else {
        problem.pointer.clear();
      }
    throw Error(std::move(problems));
  }
}

JobBook::Change JobBook::prepare_entry(std::string_view entry) {
  return prepare_part(R"({"add":[)", entry, "]}", "/add/0");
}

JobBook::Change JobBook::prepare_members(std::string_view members) {
  return prepare_part(R"({"set":)", members, "}", "/set");
}

JobBook::Change JobBook::prepare_withdrawal(std::string_view id) {
  if (!ids_.known.contains(id))
    throw Error(Code::reference,
                fmt::format("There is no entry '{}'{}", shortened(id), nearest_id(id)));
  return prepare_part(R"({"withdraw":[)", Json(id).dump(), "]}", "/withdraw/0");
}

void JobBook::commit(Change&& change) noexcept {
  if (change.head) head_.swap(*change.head);
  for (auto& entry : change.entries) entries_.push_back(std::move(entry));
  for (const auto* id : change.ids.order)
    highest_number_ = std::max(highest_number_, number_in(*id));
  take_over(change.ids, ids_);
  take_over(change.withdrawn, withdrawn_);
  weight_ += change.weight;
}

std::string JobBook::difference(std::string_view document) const {
  const auto checked = parse_text(document);
  std::vector<Problem> problems;
  schema().check(checked, problems);
  throw_if_any(problems);
  auto wanted = parse_ordered(document);
  for (const char* key : {"format", "version", "id", "vehicle"})
    if (wanted[key] != head_[key])
      problems.push_back({Code::reference,
                          fmt::format("This is another job: its '{}' is '{}' instead of '{}'", key,
                                      wanted[key].get<std::string>(), member_text(key)),
                          fmt::format("/{}", key)});
  throw_if_any(problems);
  const auto& entries = wanted["entries"];
  for (std::size_t i = 0; i < entries_.size(); ++i)
    if (i >= entries.size() || !same(entries[i], entries_[i]))
      problems.push_back({Code::value,
                          fmt::format("Entry '{}' is not there as it was added; leave it and "
                                      "withdraw it, nothing is erased from a job",
                                      entry_id(i)),
                          fmt::format("/entries/{}", i)});
  Json change = Json::object();
  for (std::size_t i = entries_.size(); i < entries.size(); ++i)
    change["add"].push_back(entries[i]);
  std::set<std::string, std::less<>> withdrawn;
  for (const auto& id : wanted.value("withdrawn", Json::array())) {
    const auto& name = *withdrawn.insert(id.get<std::string>()).first;
    if (!withdrawn_.known.contains(name)) change["withdraw"].push_back(name);
  }
  for (const auto* id : withdrawn_.order)
    if (!withdrawn.contains(*id))
      problems.push_back({Code::value,
                          fmt::format("Entry '{}' was taken back and stays so; add another", *id),
                          "/withdrawn"});
  throw_if_any(std::move(problems));
  wanted.erase("entries");
  wanted.erase("withdrawn");
  const OrderedMembers old_members(head_);
  const OrderedMembers new_members(wanted);
  Json members = Json::object();
  for (const auto& [name, value] : wanted.items())
    if (const auto* old = old_members.find(name); old == nullptr || !same(*old, value))
      append_member(members, name, value);
  for (const auto& [name, value] : head_.items())
    if (new_members.find(name) == nullptr) append_member(members, name, nullptr);
  if (!members.empty()) change["set"] = std::move(members);
  return change.dump();
}

}  // namespace faultloom::documents
