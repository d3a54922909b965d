#pragma once

#include <exception>
#include <faultloom/advice/prediction_store.hpp>
#include <faultloom/belief/belief.hpp>
#include <faultloom/documents/cautions_reader.hpp>
#include <faultloom/documents/job_reader.hpp>
#include <faultloom/documents/model.hpp>
#include <faultloom/documents/schema.hpp>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

namespace faultloom::fleet {
class Screen;
}

namespace faultloom::documents {

/// The C++ objects behind a Model. The documents are immutable; only the pool of work spaces changes,
/// under its own lock, so that a thread finds warm caches where another left them.
struct Model::Parts {
  Parts(const ModelSources& sources, const Progress& progress);

  vehicle::Vehicle vehicle;
  std::string rates_text;  ///< the document behind `rates`
  rates::Rates rates;
  readings::InstrumentSet instruments;
  Cautions cautions;
  circuit::Circuit circuit;
  belief::FaultSpace space;
  Schema job_schema{"job"};

  struct WorkSpace {
    explicit WorkSpace(const Parts& parts);
    WorkSpace(const WorkSpace&) = delete;
    WorkSpace& operator=(const WorkSpace&) = delete;
    ~WorkSpace();
    belief::Belief belief;
    advice::PredictionStore store;
    std::unique_ptr<fleet::Screen> screen;  ///< made when first asked for
  };
  /// A Belief for the caller's own use until the handle goes out of scope.
  class Borrowed {
   public:
    Borrowed(const Parts& parts, std::unique_ptr<WorkSpace> work)
        : parts_(&parts), work_(std::move(work)) {}
    Borrowed(Borrowed&&) noexcept = default;
    Borrowed(const Borrowed&) = delete;
    Borrowed& operator=(const Borrowed&) = delete;
    Borrowed& operator=(Borrowed&&) = delete;
    ~Borrowed();
    belief::Belief* operator->() const noexcept { return &work_->belief; }
    belief::Belief& operator*() const noexcept { return work_->belief; }
    [[nodiscard]] advice::PredictionStore& store() const noexcept { return work_->store; }
    /// Tables for many jobs at once.
    [[nodiscard]] fleet::Screen& screen() const;

   private:
    const Parts* parts_;
    std::unique_ptr<WorkSpace> work_;
    int unwinding_ = std::uncaught_exceptions();
  };
  [[nodiscard]] Borrowed borrow() const;
  [[nodiscard]] Job job(std::string_view text) const;

 private:
  mutable std::mutex lock_;
  mutable std::vector<std::unique_ptr<WorkSpace>> idle_;
};

}  // namespace faultloom::documents
