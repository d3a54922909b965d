#include <faultloom.h>

#include "answers.hpp"

#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

using namespace faultloom::capi;

namespace documents = faultloom::documents;
using documents::JobJournal;

namespace {

std::optional<documents::Model> optional_model(const faultloom_model* model) {
  if (model == nullptr) return std::nullopt;
  return required(model, "model").model;
}

std::string path_of(const char* path, size_t size) {
  const std::string_view text = required_text(path, size, "path");
  if (text.empty()) refuse("path", "is empty");
  return std::string(text);
}

}  // namespace

faultloom_status faultloom_journal_create(const char* path, size_t path_size,
                                          const faultloom_model* model, const char* job,
                                          size_t job_size, faultloom_journal** journal,
                                          faultloom_error** error) {
  clear(journal);
  return guard(error, [&] {
    faultloom_journal*& place = required(journal, "journal");
    const auto name = path_of(path, path_size);
    const std::string_view document = required_text(job, job_size, "job");
    place = new faultloom_journal{{}, JobJournal::create(name, document, optional_model(model))};
  });
}

faultloom_status faultloom_journal_open(const char* path, size_t path_size,
                                        const faultloom_model* model, faultloom_journal** journal,
                                        faultloom_error** error) {
  clear(journal);
  return guard(error, [&] {
    faultloom_journal*& place = required(journal, "journal");
    const auto name = path_of(path, path_size);
    place = new faultloom_journal{{}, JobJournal::open(name, optional_model(model))};
  });
}

faultloom_status faultloom_journal_append(faultloom_journal* journal, const char* change,
                                          size_t change_size, faultloom_text** added,
                                          faultloom_error** error) {
  clear(added);
  return guard(error, [&] {
    faultloom_text*& place = required(added, "added");
    auto& to = required(journal, "journal").journal;
    auto pending = to.prepare(required_text(change, change_size, "change"));
    auto ids = std::make_unique<faultloom_text>(
        faultloom_text{{}, nlohmann::json(pending.change.added).dump()});
    to.append(std::move(pending));
    place = ids.release();
  });
}

faultloom_status faultloom_journal_update(faultloom_journal* journal, const char* job,
                                          size_t job_size, faultloom_error** error) {
  return guard(error, [&] {
    auto& to = required(journal, "journal").journal;
    to.update(required_text(job, job_size, "job"));
  });
}

faultloom_status faultloom_journal_json(const faultloom_journal* journal, faultloom_text** document,
                                        faultloom_error** error) {
  return answer_text(document, "document", error,
                     [&] { return required(journal, "journal").journal.job().text(); });
}

faultloom_status faultloom_journal_status(const faultloom_journal* journal, faultloom_text** status,
                                          faultloom_error** error) {
  return answer_text(status, "status", error,
                     [&] { return required(journal, "journal").journal.status(); });
}

faultloom_status faultloom_journal_compact(const faultloom_journal* journal, const char* path,
                                           size_t path_size, faultloom_error** error) {
  return guard(error, [&] {
    const auto& from = required(journal, "journal").journal;
    from.compact(path_of(path, path_size));
  });
}

faultloom_status faultloom_journal_read(const char* bytes, size_t bytes_size,
                                        faultloom_text** document, faultloom_text** status,
                                        faultloom_error** error) {
  clear(document);
  clear(status);
  return guard(error, [&] {
    faultloom_text*& document_place = required(document, "document");
    faultloom_text*& status_place = required(status, "status");
    const auto read = documents::read_journal(required_text(bytes, bytes_size, "bytes"));
    auto words = std::make_unique<faultloom_text>(
        faultloom_text{{}, documents::journal_status(read, bytes_size)});
    document_place = new faultloom_text{{}, documents::JobBook(read.document).text()};
    status_place = words.release();
  });
}

void faultloom_journal_free(faultloom_journal* journal) {
  if (journal != nullptr && is_kind(journal)) delete journal;
}
