#include <faultloom/documents/model_parts.hpp>

#include <faultloom/documents/embedded.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/instruments_reader.hpp>
#include <faultloom/documents/kinds.hpp>
#include <faultloom/documents/rates_reader.hpp>
#include <faultloom/documents/references.hpp>
#include <faultloom/documents/vehicle_reader.hpp>
#include <faultloom/fleet/screen.hpp>

namespace faultloom::documents {
namespace {

constexpr std::size_t most_idle = 4;

std::string_view or_shipped(std::string_view text, std::string_view name) {
  return text.empty() ? embedded_document(name) : text;
}

/// Says which document a problem is in, since pointers of several documents come together here.
template <typename Read>
auto named(std::string_view document, const Read& read) {
  try {
    return read();
  } catch (const Error& error) {
    auto problems = error.problems();
    for (auto& problem : problems)
      problem.message = "In the " + std::string(document) + " document: " + problem.message;
    throw Error(std::move(problems));
  }
}

vehicle::Vehicle load_vehicle(const ModelSources& sources) {
  const auto kinds = named("kinds", [&] { return read_kinds(or_shipped(sources.kinds, "kinds")); });
  return read_vehicle(sources.vehicle, kinds);
}

}  // namespace

Model::Parts::Parts(const ModelSources& sources, const Progress& progress)
    : vehicle((report(progress, 0), load_vehicle(sources))),
      rates_text(or_shipped(sources.rates, "rates")),
      rates(named("rates", [&] { return read_rates(rates_text); })),
      instruments(
          named("instruments",
                [&] { return read_instruments(or_shipped(sources.instruments, "instruments")); })),
      cautions(named("cautions",
                     [&] { return read_cautions(or_shipped(sources.cautions, "cautions")); })),
      circuit(vehicle),
      space(circuit) {
  idle_.reserve(most_idle);  // handing a work space back must not need memory
  std::vector<Problem> problems;
  check_references(vehicle, instruments, cautions, rates, problems);
  throw_if_any(problems);
  report(progress, 1);
}

Model::Parts::WorkSpace::WorkSpace(const Parts& parts)
    : belief(parts.space, parts.instruments, parts.rates), store(belief) {}

Model::Parts::WorkSpace::~WorkSpace() = default;

fleet::Screen& Model::Parts::Borrowed::screen() const {
  auto& screen = work_->screen;
  if (screen == nullptr)
    screen = std::make_unique<fleet::Screen>(parts_->space, parts_->instruments, parts_->rates);
  return *screen;
}

Model::Parts::Borrowed Model::Parts::borrow() const {
  {
    const std::scoped_lock guard(lock_);
    if (!idle_.empty()) {
      auto work = std::move(idle_.back());
      idle_.pop_back();
      return {*this, std::move(work)};
    }
  }
  return {*this, std::make_unique<WorkSpace>(*this)};
}

Model::Parts::Borrowed::~Borrowed() {
  // Work cut short by an exception may have left its caches half filled.
  if (!work_ || std::uncaught_exceptions() > unwinding_) return;
  const std::scoped_lock guard(parts_->lock_);
  if (parts_->idle_.size() < most_idle) parts_->idle_.push_back(std::move(work_));
}

Job Model::Parts::job(std::string_view text) const {
  return read_job(text, job_schema, vehicle, instruments, &rates.cues);
}

}  // namespace faultloom::documents
