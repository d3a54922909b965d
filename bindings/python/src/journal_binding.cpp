#include "journal_binding.hpp"

#include <pybind11/stl.h>

#include <faultloom/documents/job_journal.hpp>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "watcher.hpp"

namespace faultloom::python {
namespace {

namespace py = pybind11;
using namespace py::literals;
using documents::JobJournal;
using Text = std::string;

/// A journal that can be closed before it is collected. Threads take turns.
class Handle {
 public:
  explicit Handle(JobJournal journal) : journal_(std::move(journal)) {}

  /// Runs `work(journal)` without the interpreter lock.
  template <typename Work>
  auto with(const Work& work) {
    return unlocked([&] {
      const std::lock_guard<std::mutex> turn(lock_);
      if (!journal_) throw Error(Code::argument, "The journal is closed; open it again");
      return work(*journal_);
    });
  }

  void close() {
    unlocked([&] {
      const std::lock_guard<std::mutex> turn(lock_);
      journal_.reset();
    });
  }

 private:
  std::mutex lock_;
  std::optional<JobJournal> journal_;
};

std::optional<documents::Model> maybe(const documents::Model* model) {
  if (model == nullptr) return std::nullopt;
  return *model;
}

std::unique_ptr<Handle> create(const Text& path, const Text& job, const documents::Model* model) {
  return unlocked(
      [&] { return std::make_unique<Handle>(JobJournal::create(path, job, maybe(model))); });
}

std::unique_ptr<Handle> open(const Text& path, const documents::Model* model) {
  return unlocked([&] { return std::make_unique<Handle>(JobJournal::open(path, maybe(model))); });
}

std::vector<Text> append(Handle& handle, const Text& change) {
  return handle.with([&](JobJournal& journal) {
    auto pending = journal.prepare(change);
    auto added = pending.change.added;
    journal.append(std::move(pending));
    return added;
  });
}

std::pair<Text, Text> read(const Text& bytes) {
  return unlocked([&] {
    const auto found = documents::read_journal(bytes);
    return std::pair(documents::JobBook(found.document).text(),
                     documents::journal_status(found, bytes.size()));
  });
}

}  // namespace

void bind_journal(py::module_& module) {
  py::class_<Handle>(module, "Journal")
      .def_static("create", &create, "path"_a, "job"_a, "model"_a = py::none())
      .def_static("open", &open, "path"_a, "model"_a = py::none())
      .def("append", &append, "change"_a)
      .def(
          "update",
          [](Handle& handle, const Text& job) {
            handle.with([&](JobJournal& journal) { journal.update(job); });
          },
          "job"_a)
      .def("job_json",
           [](Handle& handle) {
             return handle.with([](const JobJournal& journal) { return journal.job().text(); });
           })
      .def("status_json",
           [](Handle& handle) {
             return handle.with([](const JobJournal& journal) { return journal.status(); });
           })
      .def(
          "compact",
          [](Handle& handle, const Text& path) {
            handle.with([&](const JobJournal& journal) { journal.compact(path); });
          },
          "path"_a)
      .def("close", &Handle::close);
  module.def("read_journal", &read, "data"_a);
}

}  // namespace faultloom::python
