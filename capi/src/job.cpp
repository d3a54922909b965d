#include <faultloom.h>

#include "answers.hpp"

#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

using namespace faultloom::capi;

using faultloom::documents::JobBook;

namespace {

/// The id of a vehicle as its model knows it.
std::string vehicle_id_of(const faultloom::documents::Model& model) {
  return nlohmann::json::parse(model.summary_json())["id"].get<std::string>();
}

}  // namespace

faultloom_status faultloom_job_new(const faultloom_model* model, const char* id, size_t id_size,
                                   faultloom_job** job, faultloom_error** error) {
  clear(job);
  return guard(error, [&] {
    faultloom_job*& place = required(job, "job");
    const auto& of = required(model, "model").model;
    const std::string_view name = required_text(id, id_size, "id");
    place = new faultloom_job{{}, JobBook::begun(name, vehicle_id_of(of), of)};
  });
}

faultloom_status faultloom_job_from_json(const faultloom_model* model, const char* document,
                                         size_t document_size, faultloom_job** job,
                                         faultloom_error** error) {
  clear(job);
  return guard(error, [&] {
    faultloom_job*& place = required(job, "job");
    const auto& of = required(model, "model").model;
    place = new faultloom_job{{}, JobBook(required_text(document, document_size, "document"), of)};
  });
}

faultloom_status faultloom_job_set(faultloom_job* job, const char* members, size_t members_size,
                                   faultloom_error** error) {
  return guard(error, [&] {
    auto& book = required(job, "job").book;
    book.commit(book.prepare_members(required_text(members, members_size, "members")));
  });
}

faultloom_status faultloom_job_add_entry(faultloom_job* job, const char* entry, size_t entry_size,
                                         const char** id, faultloom_error** error) {
  clear(id);
  return guard(error, [&] {
    auto& book = required(job, "job").book;
    const std::string_view text = required_text(entry, entry_size, "entry");
    const char*& place = required(id, "id");
    book.commit(book.prepare_entry(text));
    place = book.entry_id(book.entry_count() - 1).c_str();
  });
}

faultloom_status faultloom_job_withdraw(faultloom_job* job, const char* id, size_t id_size,
                                        faultloom_error** error) {
  return guard(error, [&] {
    auto& book = required(job, "job").book;
    book.commit(book.prepare_withdrawal(required_text(id, id_size, "id")));
  });
}

faultloom_status faultloom_job_close(faultloom_job* job, const char* closing, size_t closing_size,
                                     faultloom_progress_fn progress, void* user,
                                     faultloom_error** error) {
  return guard(error, [&] {
    auto& book = required(job, "job").book;
    const std::string_view how = required_text(closing, closing_size, "closing");
    const auto closed = book.model()->close_json(book.line(), how, watch(progress, user));
    book.commit(book.prepare(book.difference(closed)));
  });
}

faultloom_status faultloom_job_entry_count(const faultloom_job* job, size_t* count,
                                           faultloom_error** error) {
  clear(count);
  return guard(error, [&] { required(count, "count") = required(job, "job").book.entry_count(); });
}

faultloom_status faultloom_job_json(const faultloom_job* job, faultloom_text** document,
                                    faultloom_error** error) {
  return answer_text(document, "document", error, [&] { return required(job, "job").book.text(); });
}

void faultloom_job_free(faultloom_job* job) {
  if (job != nullptr && is_kind(job)) delete job;
}
