#include <faultloom/documents/job_journal.hpp>

#include <faultloom/base/one_line.hpp>
#include <faultloom/documents/access.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/ordered_members.hpp>
#include <faultloom/documents/text.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <set>
#include <utility>

namespace faultloom::documents {
namespace {

using Json = nlohmann::ordered_json;
using journal::Damage;

std::string first_body(const JobBook& book) {
  return fmt::format(R"({{"format":"{}","version":"{}","job":{}}})", journal::format_name,
                     journal::format_version, book.line());
}

/// The line of a record; nothing is written that could not be read back.
journal::Line line_of(const journal::Link& link, std::string_view body) {
  auto line = journal::encode(link, body);
  (void)parse_text(line.text);
  return line;
}

std::string records_in_words(const Damage& damage) {
  if (damage.first_record == damage.last_record)
    return fmt::format("record {} is", damage.first_record);
  return fmt::format("records {} to {} are", damage.first_record, damage.last_record);
}

std::string in_words(const Damage& damage, bool at_end) {
  auto place = fmt::format("At line {}, byte {}: ", damage.line, damage.at_byte);
  switch (damage.what) {
    case Damage::What::unfinished:
      return place + fmt::format("{} bytes of a record that was not finished", damage.bytes);
    case Damage::What::damaged:
      return place + fmt::format("{} bytes are not as they were written; {}", damage.bytes,
                                 at_end ? "what they held is missing from the end of the job"
                                        : "what they held is missing from the job");
    case Damage::What::missing:
      return place + records_in_words(damage) + " missing before it";
    case Damage::What::out_of_order:
      return place + records_in_words(damage) + " out of order; it was put in its place";
    case Damage::What::repeated:
      return place + records_in_words(damage) + " there twice; the second was left out";
    case Damage::What::contradicting:
      return place + records_in_words(damage) +
             " there already with something else in it; this one was left out";
    case Damage::What::unlinked:
      return place + records_in_words(damage) + " not made after the one before it";
  }
  return place;
}

/// Reads the first record.
Json head_of(const journal::Recovery& recovery, std::string& version) {
  if (recovery.records.empty() || recovery.records.front().number != 0)
    throw Error(Code::damaged,
                fmt::format("The first line of the journal, which says what job it is, can't be "
                            "read; {} other records are whole. Restore it from a copy",
                            recovery.records.size()));
  const auto& body = recovery.records.front().body;
  auto head = parse_ordered(body);
  version = head.value("version", "");
  if (head.value("format", "") != journal::format_name || !version.starts_with("1."))
    throw Error(Code::schema,
                fmt::format("This is version '{}' of '{}'; this library knows version {} of {}. "
                            "Read it with the library that wrote it",
                            version, head.value("format", ""), journal::format_version,
                            journal::format_name),
                "/version");
  if (!head.contains("job") || !head["job"].is_object())
    throw Error(Code::damaged, "The first line of the journal has no job", "/job");
  return std::move(head["job"]);
}

/// Applies changes that were checked when they were written. What a lost record would have brought may be
/// missing now; that is told and left out, so that the rest can be used.
class Replay {
 public:
  explicit Replay(const Json& job)
      : job_(job), entries_(list("entries")), withdrawn_(list("withdrawn")) {
    for (const auto& entry : entries_)
      if (entry.is_object()) ids_.insert(entry.value("id", ""));
  }

  void apply(const journal::Record& record, std::vector<JournalDamage>& damage) {
    const auto body = parse_ordered(record.body);
    const auto change = body.value("change", Json::object());
    const auto tell = [&](const std::string& what) {
      const Damage where{Damage::What::missing, record.at_byte, 0, 0, record.number, record.number};
      damage.push_back({where, on_one_line(fmt::format("Record {} {}", record.number, what)), ""});
    };
    for (const auto& entry : change.value("add", Json::array())) {
      if (const auto id = entry.value("id", ""); !ids_.insert(id).second) {
        tell(fmt::format("adds an entry '{}' though there is one; it was left out", id));
      } else {
        entries_.push_back(entry);
      }
    }
    for (const auto& id : change.value("withdraw", Json::array())) {
      if (ids_.contains(id.get<std::string>())) {
        withdrawn_.push_back(id);
      } else {
        tell(fmt::format("takes back entry '{}', which is missing from the job",
                         id.get<std::string>()));
      }
    }
    const auto members = change.value("set", Json::object());
    for (const auto& [name, value] : members.items()) {
      if (name == "entries" || name == "withdrawn")
        throw Error(Code::damaged,
                    fmt::format("Record {} is whole and yet none of a journal: it sets "
                                "'{}', which only ever grows",
                                record.number, name));
      if (value.is_null()) {
        job_.erase(name);
      } else {
        job_.set(name, value);
      }
    }
  }

  /// The job as it is in the end.
  [[nodiscard]] std::string finish() {
    job_.set("entries", std::move(entries_));
    if (job_.find("withdrawn") != nullptr || !withdrawn_.empty())
      job_.set("withdrawn", std::move(withdrawn_));
    return job_.object().dump();
  }

 private:
  [[nodiscard]] Json list(const char* name) const {
    const auto* found = job_.find(name);
    return found == nullptr || found->is_null() ? Json::array() : *found;
  }

  OrderedMembers job_;
  Json entries_;
  Json withdrawn_;
  std::set<std::string, std::less<>> ids_;
};

Json damage_json(const std::vector<JournalDamage>& damage) {
  auto list = Json::array();
  for (const auto& [where, message, kept_in] : damage) {
    Json item{{"what", journal::name_of(where.what)},
              {"message", message},
              {"line", where.line},
              {"at_byte", where.at_byte},
              {"bytes", where.bytes}};
    if (!kept_in.empty()) item["kept_in"] = kept_in;
    list.push_back(std::move(item));
  }
  return list;
}

Json status_head(std::string_view version) {
  return {{"format", "faultloom.journal_status"},
          {"version", "1.0"},
          {"journal_version", std::string(version)}};
}

}  // namespace

ReadJournal read_journal(std::string_view bytes) {
  ReadJournal read;
  read.recovery = journal::recover(bytes);
  for (const auto& damage : read.recovery.damage)
    read.damage.push_back(
        {damage, in_words(damage, damage.at_byte >= read.recovery.good_bytes), ""});
  try {
    Replay replay(head_of(read.recovery, read.version));
    for (std::size_t i = 1; i < read.recovery.records.size(); ++i)
      replay.apply(read.recovery.records[i], read.damage);
    read.document = replay.finish();
  } catch (const Json::exception& problem) {
    throw Error(Code::damaged,
                std::string("A record is whole and yet none of a journal: ") + problem.what());
  }
  return read;
}

std::string journal_status(const ReadJournal& read, std::size_t bytes) {
  auto status = status_head(read.version);
  status["records"] = read.recovery.records.size();
  status["bytes"] = bytes;
  status["damage"] = damage_json(read.damage);
  return status.dump(2) + "\n";
}

JobJournal JobJournal::create(const std::string& path, std::string_view document,
                              std::optional<Model> model) {
  JobBook book(document, std::move(model));
  const auto line = line_of({}, first_body(book));
  return {storage::AppendFile::create(path, line.text), std::move(book), line.next};
}

JobJournal JobJournal::open(const std::string& path, std::optional<Model> model) {
  auto file = storage::AppendFile::open(path);
  const auto bytes = file.read();
  if (journal::looks_like_journal(bytes)) {
    auto read = read_journal(bytes);
    JobBook book(read.document, std::move(model));
    JobJournal opened(std::move(file), std::move(book), read.recovery.next);
    opened.records_ = read.recovery.records.size();
    opened.version_ = read.version;
    opened.set_aside(read);
    return opened;
  }
  if (bytes.empty())
    throw Error(Code::damaged,
                "File '" + file.path() + "' is empty; remove it and make the journal anew");
  // Before journals a job was kept as a document in plain JSON.
  JobBook book(bytes, std::move(model));
  const auto line = line_of({}, first_body(book));
  auto kept = file.replace(line.text);
  JobJournal opened(std::move(file), std::move(book), line.next);
  opened.migrated_from_ = "faultloom.job " + opened.book_.member_text("version");
  opened.old_kept_in_ = std::move(kept);
  return opened;
}

void JobJournal::set_aside(const ReadJournal& read) {
  damage_ = read.damage;
  const auto end = read.recovery.good_bytes;
  if (end == file_.size()) return;
  // Room for the path first: what was moved away must not go untold for want of memory.
  constexpr std::size_t longest_suffix = 32;
  for (auto& damage : damage_) damage.kept_in.reserve(file_.path().size() + longest_suffix);
  const auto kept = file_.set_aside(end);
  for (auto& damage : damage_)
    if (damage.where.at_byte >= end) damage.kept_in = kept;
}

JobJournal::Pending JobJournal::prepare(std::string_view change_text) {
  Pending pending{book_.prepare(change_text), {}};
  if (!pending.change.empty())
    pending.line = line_of(next_, "{\"change\":" + pending.change.text + "}");
  return pending;
}

void JobJournal::append(Pending&& pending) {
  if (pending.change.empty()) return;
  file_.append(pending.line.text);
  book_.commit(std::move(pending.change));
  next_ = pending.line.next;
  ++records_;
}

void JobJournal::compact(const std::string& path) const { (void)create(path, book_.line()); }

std::string JobJournal::status() const {
  auto status = status_head(version_);
  status["path"] = file_.path();
  status["job"] = book_.member_text("id");
  status["vehicle"] = book_.member_text("vehicle");
  status["records"] = records_;
  status["entries"] = book_.entry_count();
  status["withdrawn"] = book_.withdrawn_count();
  status["bytes"] = file_.size();
  status["damage"] = damage_json(damage_);
  if (!migrated_from_.empty()) {
    status["migrated_from"] = migrated_from_;
    status["old_kept_in"] = old_kept_in_;
  }
  // A path may hold bytes that are no text.
  return status.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace faultloom::documents
