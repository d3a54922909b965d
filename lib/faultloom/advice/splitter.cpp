#include <faultloom/advice/splitter.hpp>

#include <algorithm>
#include <array>
#include <faultloom/advice/group_parts.hpp>
#include <map>

namespace faultloom::advice {
namespace {

constexpr std::size_t most_split_faults = 48;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Sum over parts of sum over variables (weight)^2 / weight of the part: 1 - this is what is left
/// open.
double concentration(const belief::FaultSpace& space, std::span<const double> weights,
                     const std::vector<std::vector<std::int32_t>>& parts) {
  double sum = 0;
  for (const auto& part : parts) {
    std::map<std::int32_t, double> by_variable;
    double mass = 0;
    for (const auto f : part) {
      by_variable[space.fault(f).variable] += weight_of(weights, f);
      mass += weight_of(weights, f);
    }
    for (const auto& [variable, w] : by_variable)
      if (mass > 0) sum += w * w / mass;
  }
  return sum;
}

/// Tries things on one group and keeps the best.
class SplitSearch {
 public:
  SplitSearch(const belief::FaultSpace& space, const readings::InstrumentSet& set, Reach reach,
              std::span<const Index> components, std::vector<std::int32_t> faults,
              std::span<const double> weights)
      : space_(&space),
        set_(&set),
        reach_(std::move(reach)),
        components_(components),
        weights_(weights),
        book_(set, space.vehicle().nominal_volt),
        solver_(space.circuit()),
        faults_(std::move(faults)) {
    std::stable_sort(faults_.begin(), faults_.end(), [&](std::int32_t x, std::int32_t y) {
      return weight_of(weights_, x) > weight_of(weights_, y);
    });
    if (faults_.size() > most_split_faults) faults_.resize(most_split_faults);
    std::sort(faults_.begin(), faults_.end());
    for (const auto f : faults_) mass_ += weight_of(weights_, f);
    before_ = concentration(space, weights, {faults_});
    reach_.looks = false;
    reach_.lifting = false;
  }

  [[nodiscard]] Splitter best(bool with_looks, bool with_lifts, const Progress& progress) {
    if (mass_ <= 0) return {};
    FaultAnswers answers(*space_, solver_, *set_, book_, reach_);
    if (with_looks) look(answers);
    report(progress, 0.1);
    if (with_lifts) lift(answers, progress);
    instrument(progress);
    zone(progress);
    return best_;
  }

 private:
  void offer(Splitter&& splitter) {
    if (splitter.parts.size() > 1)
      splitter.separated = (concentration(*space_, weights_, splitter.parts) - before_) / mass_;
    if (splitter.separated < best_.separated + 1e-12) return;
    std::stable_sort(splitter.parts.begin(), splitter.parts.end(),
                     [&](const auto& x, const auto& y) {
                       const auto sum = [&](const auto& part) {
                         double total = 0;
                         for (const auto f : part) total += weight_of(weights_, f);
                         return total;
                       };
                       return sum(x) > sum(y);
                     });
    best_ = std::move(splitter);
  }

  void look(const FaultAnswers& answers) {
    const auto& v = space_->vehicle();
    for (const auto c : components_) {
      if (!answers.accessible(v.components[at(c)].zone)) continue;
      std::map<std::int32_t, std::array<double, 2>> by_variable;
      std::array<double, 2> mass{};
      for (const auto f : faults_) {
        const double p = answers.seen(c, f);
        for (const std::size_t o : {std::size_t{0}, std::size_t{1}}) {
          const double w = weight_of(weights_, f) * (o == 0 ? p : 1 - p);
          by_variable[space_->fault(f).variable][o] += w;
          mass[o] += w;
        }
      }
      double after = 0;
      for (const auto& [variable, w] : by_variable)
        for (const std::size_t o : {std::size_t{0}, std::size_t{1}})
          if (mass[o] > 0) after += w[o] * w[o] / mass[o];
      Splitter splitter{.type = Splitter::Type::look, .component = c, .parts = {faults_}};
      splitter.separated = (after - before_) / mass_;
      offer(std::move(splitter));
    }
  }

  void lift(FaultAnswers& answers, const Progress& progress) {
    const auto& v = space_->vehicle();
    const auto few = answers.few();
    const auto wires = wires_near(v, components_);
    for (std::size_t k = 0; k < wires.size(); ++k) {
      report(progress, 0.1 + 0.6 * static_cast<double>(k) / static_cast<double>(wires.size()));
      const auto& wire = v.wires[at(wires[k])];
      if (!answers.wire_accessible(wire)) continue;
      std::vector<Situation> situations;
      bool live = false;
      for (auto situation : few) {
        if (wire.power && !situation.isolated) continue;
        if (!contains(situation.lifted, wire.element)) situation.lifted.push_back(wire.element);
        live = live || !situation.isolated;
        situations.push_back(std::move(situation));
      }
      if (situations.empty()) continue;
      offer({.type = Splitter::Type::lift,
             .component = wire.component,
             .isolated = !live,
             .parts = group_faults(answers, faults_, std::move(situations), {}).groups});
    }
  }

  void offer_reach(const Reach& wider, Splitter splitter) {
    FaultAnswers answers(*space_, solver_, *set_, book_, wider);
    splitter.parts = group_faults(answers, faults_, answers.few(), {}).groups;
    offer(std::move(splitter));
  }

  void instrument(const Progress& progress) {
    report(progress, 0.7);
    if (reach_.instruments.empty()) return;
    for (std::size_t i = 0; i < set_->instruments.size(); ++i) {
      if (contains(reach_.instruments, static_cast<Index>(i))) continue;
      auto wider = reach_;
      wider.instruments.push_back(static_cast<int>(i));
      offer_reach(wider, {.type = Splitter::Type::instrument, .instrument = static_cast<int>(i)});
    }
  }

  void zone(const Progress& progress) {
    report(progress, 0.85);
    for (const auto z : reach_.closed_zones) {
      auto wider = reach_;
      std::erase(wider.closed_zones, z);
      offer_reach(wider, {.type = Splitter::Type::zone, .zone = z});
    }
  }

  const belief::FaultSpace* space_;
  const readings::InstrumentSet* set_;
  Reach reach_;
  std::span<const Index> components_;
  std::span<const double> weights_;
  AnswerBook book_;
  circuit::Solver solver_;  ///< its own: stages with lifted ends would stay in the caller's
  std::vector<std::int32_t> faults_;
  double mass_ = 0;
  double before_ = 0;
  Splitter best_;
};

}  // namespace

Splitter best_splitter(const belief::FaultSpace& space, const readings::InstrumentSet& instruments,
                       const Reach& reach, const AmbiguityGroup& group,
                       std::span<const double> weights, const Progress& progress) {
  if (group.faults.empty()) return {};
  auto faults = checked_faults(space, group.faults, weights);
  if (group.components.size() < 2) return {};
  SplitSearch search(space, instruments, reach, group.components, std::move(faults), weights);
  return search.best(!reach.looks, !reach.lifting, progress);
}

}  // namespace faultloom::advice
