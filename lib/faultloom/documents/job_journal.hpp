#pragma once

#include <faultloom/documents/job_book.hpp>
#include <faultloom/journal/journal.hpp>
#include <faultloom/storage/append_file.hpp>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace faultloom::documents {

/// What is wrong with a journal, in words, and where it was put.
struct JournalDamage {
  journal::Damage where;
  std::string message;
  std::string kept_in;  ///< path of the file it was moved to; empty: it stays where it is
};

/// A job read back from the bytes of a journal.
struct ReadJournal {
  std::string document;  ///< job document on one line; not checked against the schema yet
  std::string version;   ///< of the journal's format
  journal::Recovery recovery;
  std::vector<JournalDamage> damage;
};

/// Puts the records of a journal together. What can't be read is told in `damage`; every whole record
/// counts, also those behind a damaged stretch.
/// @throws Error damaged  the first record, which says what job it is, can't be read
///         schema   a version this library doesn't know
/// Complexity: O(n).
[[nodiscard]] ReadJournal read_journal(std::string_view bytes);

/// JSON faultloom.journal_status of a journal that is not open, for example of a copy.
[[nodiscard]] std::string journal_status(const ReadJournal& read, std::size_t bytes);

/// A job that is kept in a file record by record. What append() returned from is on the disk.
class JobJournal {
 public:
  /// Makes a journal that begins with a job document.
  /// @param model  of the job's vehicle; none: names in it and in what is appended are not looked up
  /// @throws Error  those of the document; storage also when there is such a file already
  [[nodiscard]] static JobJournal create(const std::string& path, std::string_view document,
                                         std::optional<Model> model = std::nullopt);

  /// Opens a journal and goes on with it. A broken-off or damaged end is moved to a file beside it. A job
  /// document in plain JSON becomes a journal of the same name, the document stays beside it.
  /// @throws Error  storage, in_use, limit; damaged, schema as read_journal(); those of the job document
  [[nodiscard]] static JobJournal open(const std::string& path,
                                       std::optional<Model> model = std::nullopt);

  /// A change that was found good and encoded, with the room it needs.
  struct Pending {
    JobBook::Change change;
    journal::Line line;
  };
  /// Checks a change, see JobBook::prepare(). Nothing is written yet.
  [[nodiscard]] Pending prepare(std::string_view change);
  /// Adds a change. On the disk when this returns; if it throws, nothing was added. Takes no memory once
  /// the file is written, so that what was added is never reported as failed.
  /// @throws Error  storage, changed, limit
  void append(Pending&& pending);
  /// Adds what a job document has more than the journal, nothing if it is the same.
  void update(std::string_view document) { append(prepare(book_.difference(document))); }

  /// Makes a new journal that begins with the job as it is now. This one stays as it is.
  void compact(const std::string& path) const;

  [[nodiscard]] const JobBook& job() const noexcept { return book_; }
  /// JSON faultloom.journal_status: path, records, entries, bytes, what was wrong when it was opened.
  [[nodiscard]] std::string status() const;

 private:
  JobJournal(storage::AppendFile file, JobBook book, journal::Link next)
      : file_(std::move(file)), book_(std::move(book)), next_(next) {}
  void set_aside(const ReadJournal& read);

  storage::AppendFile file_;
  JobBook book_;
  journal::Link next_;
  std::size_t records_ = 1;
  std::string version_{journal::format_version};
  std::vector<JournalDamage> damage_;
  std::string migrated_from_;
  std::string old_kept_in_;
};

}  // namespace faultloom::documents
