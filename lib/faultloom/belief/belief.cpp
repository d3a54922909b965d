#include <faultloom/belief/belief.hpp>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <faultloom/base/error.hpp>
#include <limits>
#include <map>
#include <tuple>

namespace faultloom::belief {
namespace {

using readings::Entry;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Everything a prior depends on, entries in an order of their own.
std::string key_of(const Evidence& evidence) {
  std::vector<std::string> parts;
  for (const auto& e : evidence.entries) {
    if (!e.informative()) continue;
    if (e.type == Entry::Type::look)
      parts.push_back("look " + std::to_string(e.component) + " " +
                      std::to_string(static_cast<int>(e.outcome)) + " " + std::to_string(e.epoch));
    if (e.type == Entry::Type::cue)
      parts.push_back("cue " + e.cue + " " + std::to_string(static_cast<int>(e.outcome)));
  }
  for (const auto& repair : evidence.repairs)
    parts.push_back("repair " + std::to_string(repair.component) + " " +
                    std::to_string(repair.epoch));
  std::sort(parts.begin(), parts.end());
  std::string key = std::to_string(evidence.exposure.hours) + '|' + evidence.exposure.environment;
  for (const auto& part : parts) key += '|' + part;
  return key;
}

/// No fault and, for each variable, its most probable lasting fault with the weight of all its faults.
std::vector<std::pair<Candidate, double>> typical_of(const FaultSpace& space, const Prior& prior) {
  std::vector<std::pair<Candidate, double>> list{{{}, 1}};
  for (const auto& variable : space.variables()) {
    std::int32_t best = -1;
    double most = 0;
    double whole = 0;
    for (auto f = variable.first; f < variable.first + variable.count; ++f) {
      const double p = prior.of(f);
      whole += p;
      if (space.fault(f).duty.a > 0 || p <= most) continue;
      most = p;
      best = f;
    }
    if (best >= 0) list.push_back({{{best}}, whole / std::max(1 - whole, 1e-9)});
  }
  double sum = 0;
  for (const auto& item : list) sum += item.second;
  for (auto& item : list) item.second /= sum;
  return list;
}

/// What no probability is below: less would be 0, and its logarithm no number.
constexpr double least_number = std::numeric_limits<double>::min();

double log_of(double p) { return std::log(std::max(p, least_number)); }

/// Each reading is measured by what it could say at best. Where so many say the same that even this is 0, there
/// is nothing to measure by.
void check_weight(double weight) {
  if (!std::isfinite(weight))
    throw Error(
        Code::reading,
        "So many entries say the same or contradict each other that no number is small enough for "
        "their probability; withdraw those that repeat others",
        "/entries");
}

constexpr std::size_t most_grounds = 6;
constexpr std::size_t most_courses = 4;

}  // namespace

Belief::Course::Course(std::vector<Repair> made, const FaultSpace& vehicle, circuit::Solver& solver,
                       const readings::InstrumentSet& instruments,
                       const Intermittence& intermittence)
    : repairs(std::move(made)),
      own(repairs.empty() ? nullptr : std::make_unique<FaultSpace>(vehicle.circuit(), repairs)),
      space(own ? own.get() : &vehicle),
      predictions(*space, solver, instruments, intermittence) {
  for (const auto& fault : space->faults()) {
    std::int32_t same = -1;
    for (const auto& cell : vehicle.cells_of(fault.modes.front()))
      if (same < 0 || vehicle.fault(cell.fault).ohm == fault.ohm) same = cell.fault;
    known_as.push_back(same);
  }
}

Candidate Belief::Course::now(const Candidate& candidate) const {
  Candidate left;
  for (const auto f : candidate.faults)
    if (space->life_of(f).lasting()) left.faults.push_back(known_as[at(f)]);
  std::sort(left.faults.begin(), left.faults.end());
  left.faults.erase(std::unique(left.faults.begin(), left.faults.end()), left.faults.end());
  return left;
}

/// One computation of a posterior.
struct Belief::Work {
  const Evidence* evidence = nullptr;
  const Ground* ground = nullptr;
  [[nodiscard]] Predictions& predictions() const { return ground->course->predictions; }
  std::unique_ptr<Observations> observations;
  std::vector<double> marginals;  ///< by group, relative to the ceilings
  Found found;
  double unmodelled = 0;
  double total = 0;
  bool swings = false;
  bool as_found = false;
  const Progress* progress = nullptr;
  std::chrono::steady_clock::time_point started = std::chrono::steady_clock::now();
  double most_seconds = 0;  ///< 0: no limit

  [[nodiscard]] double seconds() const {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - started).count();
  }
  [[nodiscard]] bool late() const { return most_seconds > 0 && seconds() > most_seconds; }
  /// What is left for the search: adding up and judging what it finds takes time, too.
  [[nodiscard]] SearchOptions limits(SearchOptions how) const {
    constexpr double for_search = 0.85;
    if (most_seconds > 0) how.most_seconds = std::max(for_search * most_seconds - seconds(), 1e-9);
    return how;
  }
};

Belief::Belief(const FaultSpace& space, const readings::InstrumentSet& instruments,
               const rates::Rates& rates)
    : space_(&space), instruments_(&instruments), rates_(&rates), solver_(space.circuit()) {}

std::vector<double> Belief::prior_odds(const rates::Exposure& exposure) const {
  const auto& vehicle = space_->vehicle();
  auto odds = rates::mode_priors(vehicle, *rates_, exposure);
  const auto failed = rates::component_priors(vehicle, odds);
  for (std::size_t m = 0; m < odds.size(); ++m)
    odds[m] /= 1 - failed[at(vehicle.modes[m].component)];
  return odds;
}

std::shared_ptr<Belief::Course> Belief::course(const Evidence& evidence) {
  for (auto it = courses_.begin(); it != courses_.end(); ++it)
    if ((*it)->repairs == evidence.repairs) {
      courses_.splice(courses_.begin(), courses_, it);
      return courses_.front();
    }
  courses_.push_front(std::make_shared<Course>(evidence.repairs, *space_, solver_, *instruments_,
                                               rates_->intermittence));
  if (courses_.size() > most_courses) courses_.pop_back();
  return courses_.front();
}

const Belief::Ground& Belief::ground(const Evidence& evidence) {
  const auto key = key_of(evidence);
  for (auto it = grounds_.begin(); it != grounds_.end(); ++it)
    if ((*it)->key == key) {
      grounds_.splice(grounds_.begin(), grounds_, it);
      return *grounds_.front();
    }
  auto made = std::make_unique<Ground>();
  made->key = key;
  made->course = course(evidence);
  const auto& space = *made->course->space;
  made->looks = Looks(space, evidence.entries, instruments_->repeat_correlation);
  made->cues = Cues(space_->vehicle(), *rates_, evidence.entries);
  made->prior = std::make_unique<Prior>(space, *rates_, evidence.exposure, made->looks, made->cues);
  made->looks_marginal = made->looks.marginal(made->prior->mode_priors(), rates_->repair);
  made->shares.resize(made->prior->place_count());
  for (std::size_t f = 0; f < space.faults().size(); ++f) {
    const auto fault = static_cast<std::int32_t>(f);
    for (std::size_t k = 0; k < made->prior->contexts(space.fault(fault).variable); ++k)
      made->shares[made->prior->place(fault, k)] = made->prior->modes_given(fault, k);
  }
  const Looks no_looks(space, {}, 0);
  const Cues no_cues;
  const Prior bare(space, *rates_, evidence.exposure, no_looks, no_cues);
  made->typical = typical_of(space, bare);
  grounds_.push_front(std::move(made));
  if (grounds_.size() > most_grounds) grounds_.pop_back();
  return *grounds_.front();
}

Posterior Belief::posterior(const Evidence& evidence, const Options& options,
                            const Progress& progress) {
  report(progress, 0);
  Work work;
  work.evidence = &evidence;
  work.swings = options.find_swings;
  work.as_found = options.note_as_found;
  work.ground = &ground(evidence);
  work.observations = std::make_unique<Observations>(solver_, *instruments_, evidence.entries);
  work.predictions().observe(*work.observations);
  for (std::size_t g = 0; g < work.observations->group_count(); ++g) {
    double sum = 0;
    for (const auto& [candidate, weight] : work.ground->typical)
      sum += weight * work.predictions().group(candidate, g);
    work.marginals.push_back(sum);
  }
  // All weights are relative to the ceilings of the readings, P(looks and cues) and P(in the model).
  const double in_model = 1 - rates_->not_in_model;
  work.unmodelled = rates_->not_in_model * work.ground->looks_marginal /
                    (in_model * std::exp(work.ground->prior->log_scale()));
  // Half of the unknown causes look like the known ones, the others like anything.
  for (std::size_t g = 0; g < work.marginals.size(); ++g)
    work.unmodelled *=
        0.5 * work.marginals[g] +
        0.5 * work.observations->forecast().group_anything(g, space_->vehicle().nominal_volt) /
            work.observations->ceiling(g);
  check_weight(work.unmodelled);
  // Asking again without each entry takes its own share of the time.
  const double parts = options.weigh_entries ? static_cast<double>(evidence.entries.size()) + 1 : 1;
  work.most_seconds = options.search.most_seconds / parts;
  Search search(work.predictions(), *work.observations, *work.ground->prior,
                work.limits(options.search), work.unmodelled);
  const Progress first =
      !progress ? Progress{} : [&](double share) { return progress(share / parts); };
  work.progress = &first;
  work.found = search.run(first);
  work.total = work.found.total + work.unmodelled;
  // Against so much evidence that no number is small enough for it, nothing in the model is an explanation.
  if (work.total <= 0) work.total = work.unmodelled = least_number;

  Posterior result;
  add_up(work, result);
  spread(work, result);
  report_repairs(work, result);
  report_resistances(work, result);
  result.entries.resize(evidence.entries.size());
  for (std::size_t i = 0; i < result.entries.size(); ++i) {
    result.entries[i].entry = i;
    result.entries[i].used = evidence.entries[i].informative();
  }
  if (options.judge_entries) judge(work, result);
  if (options.weigh_entries) weigh(work, options, result, progress);
  report(progress, 1);
  return result;
}

void Belief::add_up(const Work& work, Posterior& result) const {
  const auto& found = work.found;
  const double in_model = 1 - rates_->not_in_model;
  result.bound = found.outside / (work.total + found.outside);
  result.complete = found.complete;
  result.growth = found.growth;
  result.quadrature_error = found.quadrature_error / work.total;
  result.no_fault = found.no_fault / work.total;
  result.not_in_model = work.unmodelled / work.total;
  result.sets = found.sets;
  result.log_evidence = std::log(work.total) + work.ground->prior->log_scale() + std::log(in_model);
  double marginals_log = log_of(work.ground->looks_marginal);
  for (std::size_t g = 0; g < work.marginals.size(); ++g) {
    result.log_evidence += log_of(work.observations->ceiling(g));
    marginals_log += log_of(work.marginals[g] * work.observations->ceiling(g));
  }
  check_weight(result.log_evidence);
  result.conflict = (marginals_log - result.log_evidence) / std::log(10.0);
  for (const auto& kernel : found.kernels) name_members(kernel, work, result);
  if (work.swings) find_swings(work, result);
  if (work.as_found) note_as_found(work, result);
  keep_to_now(work, result);
  std::sort(result.candidates.begin(), result.candidates.end(),
            [](const Weighted& a, const Weighted& b) {
              return a.probability != b.probability ? a.probability > b.probability
                                                    : a.candidate < b.candidate;
            });
  for (std::size_t b = 0; b < space_->bundles().size(); ++b) {
    const auto bundle = static_cast<std::int32_t>(b);
    const auto& events = work.ground->prior->events(bundle);
    for (std::size_t k = 1; k < events.size(); ++k)
      result.events.push_back(
          {bundle, events[k].id,
           found.events[work.ground->prior->event_slot(bundle, k)] / work.total});
  }
  std::stable_sort(
      result.events.begin(), result.events.end(),
      [](const EventReport& a, const EventReport& b) { return a.probability > b.probability; });
}

/// One candidate for each way to pick members that act alike.
void Belief::name_members(const Kernel& kernel, const Work& work, Posterior& result) const {
  constexpr double worth_naming = 1e-7;
  constexpr std::size_t most = 256;
  const double whole = kernel.weight / work.total;
  std::vector<Weighted> list{{{}, whole}};
  for (const auto& pick : kernel.picks) {
    std::vector<double> share(pick.faults.size(), 0);
    double sum = 0;
    for (std::size_t i = 0; i < share.size(); ++i) {
      // Contexts count by what they say of the members; for naming, their plain mean will do.
      for (const auto& by_context : pick.shares) share[i] += by_context[i];
      sum += share[i];
    }
    std::vector<Weighted> next;
    const auto extend = [&](const Weighted& item, std::size_t i, std::size_t j, double part) {
      if (part <= 0) return;
      auto more = item;
      more.candidate.faults.push_back(pick.faults[i]);
      if (j != i) more.candidate.faults.push_back(pick.faults[j]);
      more.probability *= part;
      next.push_back(std::move(more));
    };
    const bool few = whole < worth_naming || share.size() == 1 || sum <= 0;
    for (const auto& item : list) {
      if (few || pick.count > 2) {
        auto more = item;
        for (std::size_t i = 0; i < pick.count; ++i)
          more.candidate.faults.push_back(pick.faults[i]);
        next.push_back(std::move(more));
      } else if (pick.count == 1) {
        for (std::size_t i = 0; i < share.size(); ++i) extend(item, i, i, share[i] / sum);
      } else {
        double pairs = 0;
        for (std::size_t i = 0; i < share.size(); ++i)
          for (std::size_t j = i + 1; j < share.size(); ++j) pairs += share[i] * share[j];
        for (std::size_t i = 0; i < share.size(); ++i)
          for (std::size_t j = i + 1; j < share.size(); ++j)
            extend(item, i, j, share[i] * share[j] / pairs);
      }
    }
    if (next.size() > most) {
      std::stable_sort(next.begin(), next.end(), [](const Weighted& a, const Weighted& b) {
        return a.probability > b.probability;
      });
      // The slightest go to the greatest: their sum stays.
      for (std::size_t i = most; i < next.size(); ++i)
        next.front().probability += next[i].probability;
      next.resize(most);
    }
    list = std::move(next);
  }
  for (auto& item : list) {
    std::sort(item.candidate.faults.begin(), item.candidate.faults.end());
    result.candidates.push_back(std::move(item));
  }
}

/// How the faults that come and go stand in the candidates worth planning for.
void Belief::find_swings(const Work& work, Posterior& result) const {
  constexpr std::size_t most = 48;
  constexpr double least = 1e-5;
  auto& predictions = work.predictions();
  const auto& course = *work.ground->course;
  std::vector<const Weighted*> leading;
  for (const auto& item : result.candidates)
    if (item.probability >= least && predictions.intermittent_count(item.candidate) > 0)
      leading.push_back(&item);
  std::sort(leading.begin(), leading.end(), [](const Weighted* a, const Weighted* b) {
    return a->probability != b->probability ? a->probability > b->probability
                                            : a->candidate < b->candidate;
  });
  if (leading.size() > most) leading.resize(most);
  int visit = 0;
  for (const auto& entry : work.evidence->entries) visit = std::max(visit, entry.visit);
  std::map<Candidate, Predictions::Swing> swings;
  for (const auto* item : leading) {
    // The likeliest of those that the repairs made equal stands for them.
    const auto now = course.now(item->candidate);
    if (predictions.intermittent_count(item->candidate) ==
        static_cast<std::size_t>(
            std::count_if(now.faults.begin(), now.faults.end(),
                          [&](std::int32_t f) { return space_->fault(f).duty.a > 0; })))
      swings.try_emplace(now, predictions.swing(item->candidate, visit));
  }
  for (auto& [candidate, swing] : swings) result.swings.push_back({candidate, std::move(swing)});
}

/// Keeps of each candidate what was there before the first repair, in the vehicle's own numbers.
void Belief::note_as_found(const Work& work, Posterior& result) const {
  const auto& course = *work.ground->course;
  const auto& prior = *work.ground->prior;
  const auto first_life = [&](std::int32_t f) {
    return !course.space->variables()[at(course.space->fault(f).variable)].renewed;
  };
  std::map<Candidate, double> found;
  for (const auto& item : result.candidates) {
    Candidate then;
    for (const auto f : item.candidate.faults)
      if (first_life(f)) then.faults.push_back(course.known_as[at(f)]);
    std::sort(then.faults.begin(), then.faults.end());
    then.faults.erase(std::unique(then.faults.begin(), then.faults.end()), then.faults.end());
    found[then] += item.probability;
  }
  for (const auto& [candidate, probability] : found)
    result.as_found.push_back({candidate, probability});
  std::stable_sort(
      result.as_found.begin(), result.as_found.end(),
      [](const Weighted& a, const Weighted& b) { return a.probability > b.probability; });
  result.modes_as_found.resize(space_->faults().size());
  for (std::size_t f = 0; f < course.space->faults().size(); ++f) {
    const auto fault = static_cast<std::int32_t>(f);
    if (!first_life(fault)) continue;
    const auto v = course.space->fault(fault).variable;
    std::map<Index, std::pair<double, double>> modes;  // weight, of which by itself
    double whole = 0;
    for (std::size_t k = 0; k < prior.contexts(v); ++k) {
      const auto place = prior.place(fault, k);
      for (const auto& part : work.ground->shares[place]) {
        const double weight = work.found.faults[place] * part.share;
        auto& [all, by_itself] = modes[part.mode];
        all += weight;
        by_itself += weight * prior.by_itself(part.mode, v, k);
        whole += weight;
      }
    }
    if (whole <= 0) continue;
    auto& list = result.modes_as_found[at(course.known_as[f])];
    for (const auto& [mode, weight] : modes)
      if (weight.first > 0)
        list.push_back({mode, weight.first / whole, weight.second / weight.first});
  }
}

/// Leaves of each candidate what no repair has mended, in the vehicle's own numbers.
void Belief::keep_to_now(const Work& work, Posterior& result) const {
  if (work.evidence->repairs.empty()) return;
  const auto& course = *work.ground->course;
  std::map<Candidate, double> now;
  for (const auto& item : result.candidates) {
    now[course.now(item.candidate)] += item.probability;
  }
  result.candidates.clear();
  for (const auto& [candidate, probability] : now)
    result.candidates.push_back({candidate, probability});
}

void Belief::spread(const Work& work, Posterior& result) const {
  const auto& vehicle = space_->vehicle();
  const auto& prior = *work.ground->prior;
  const auto& course = *work.ground->course;
  result.faults.assign(space_->faults().size(), 0);
  result.modes.assign(vehicle.modes.size(), 0);
  result.components.assign(vehicle.components.size(), 0);
  result.wires.assign(vehicle.wires.size(), 0);
  result.mode_shares.resize(space_->faults().size());
  for (std::size_t f = 0; f < course.space->faults().size(); ++f) {
    const auto fault = static_cast<std::int32_t>(f);
    if (!course.space->life_of(fault).lasting()) continue;
    const auto same = at(course.known_as[f]);
    auto& shares = result.mode_shares[same];
    for (std::size_t k = 0; k < prior.contexts(course.space->fault(fault).variable); ++k) {
      const auto place = prior.place(fault, k);
      const double weight = work.found.faults[place] / work.total;
      result.faults[same] += weight;
      for (const auto& part : work.ground->shares[place]) {
        result.modes[at(part.mode)] += weight * part.share;
        auto known = std::find_if(shares.begin(), shares.end(),
                                  [&](const auto& s) { return s.mode == part.mode; });
        if (known == shares.end()) known = shares.insert(shares.end(), {part.mode, 0});
        known->share += weight * part.share;
      }
    }
  }
  for (std::size_t f = 0; f < result.faults.size(); ++f) {
    if (result.faults[f] < 1e-12) result.mode_shares[f].clear();
    for (auto& part : result.mode_shares[f]) part.share /= result.faults[f];
  }
  for (std::size_t m = 0; m < vehicle.modes.size(); ++m)
    result.components[at(vehicle.modes[m].component)] += result.modes[m];
  for (std::size_t w = 0; w < vehicle.wires.size(); ++w) {
    const auto& variable = space_->variables()[at(space_->variable_of(vehicle.wires[w].component))];
    for (auto f = variable.first; f < variable.first + variable.count; ++f)
      result.wires[w] += result.faults[at(f)];
    result.wires[w] =
        std::min(1.0, result.wires[w]);  // after repairs, faults of one wire may add up
  }
}

void Belief::report_repairs(const Work& work, Posterior& result) const {
  const auto& course = *work.ground->course;
  const auto& prior = *work.ground->prior;
  for (const auto& repair : course.repairs) {
    RepairReport report;
    report.repair = repair;
    const auto life = course.space->life_in(repair.component, repair.epoch - 1);
    const auto v = course.space->lives_of(repair.component)[life];
    const auto& variable = course.space->variables()[at(v)];
    std::map<Index, double> modes;
    for (auto f = variable.first; f < variable.first + variable.count; ++f)
      for (std::size_t k = 0; k < prior.contexts(v); ++k) {
        const auto place = prior.place(f, k);
        for (const auto& part : work.ground->shares[place])
          modes[part.mode] += work.found.faults[place] / work.total * part.share;
      }
    for (const auto& [mode, probability] : modes) {
      report.was_faulty += probability;
      report.modes.push_back({mode, probability});
    }
    std::stable_sort(report.modes.begin(), report.modes.end(),
                     [](const auto& a, const auto& b) { return a.share > b.share; });
    result.repairs.push_back(std::move(report));
  }
}

void Belief::report_resistances(const Work& work, Posterior& result) const {
  struct Point {
    double ohm;
    double weight;
  };
  std::vector<std::vector<Point>> by_variable(space_->variables().size());
  const auto& course = *work.ground->course;
  for (const auto& r : work.found.resistances) {
    if (!course.space->life_of(r.fault).lasting()) continue;
    const auto same = course.known_as[at(r.fault)];
    by_variable[at(space_->fault(same).variable)].push_back({r.ohm, r.weight});
  }
  for (std::size_t v = 0; v < by_variable.size(); ++v) {
    auto& points = by_variable[v];
    if (points.empty()) continue;
    std::sort(points.begin(), points.end(), [](const Point& a, const Point& b) {
      return std::tie(a.ohm, a.weight) < std::tie(b.ohm, b.weight);
    });
    Resistance r;
    r.variable = static_cast<std::int32_t>(v);
    double sum = 0;
    for (const auto& p : points) sum += p.weight;
    r.probability = sum / work.total;
    if (r.probability < 1e-4) continue;
    const auto quantile = [&](double q) {
      double so_far = 0;
      for (const auto& p : points) {
        so_far += p.weight;
        if (so_far >= q * sum) return p.ohm;
      }
      return points.back().ohm;
    };
    r.low_ohm = quantile(0.05);
    r.median_ohm = quantile(0.5);
    r.high_ohm = quantile(0.95);
    result.resistances.push_back(r);
  }
  std::stable_sort(
      result.resistances.begin(), result.resistances.end(),
      [](const Resistance& a, const Resistance& b) { return a.probability > b.probability; });
}

void Belief::judge(Work& work, Posterior& result) {
  const auto& forecast = work.observations->forecast();
  // Kernels that differ in what the readings do not speak about were read alike.
  std::map<Candidate, std::pair<double, double>> by_seen;  // weight, likelihood
  for (const auto& kernel : work.found.kernels) {
    auto& [weight, likelihood] = by_seen[kernel.seen];
    weight += kernel.weight;
    likelihood = kernel.likelihood;
  }
  std::vector<std::pair<double, const Candidate*>> order;
  for (const auto& [candidate, item] : by_seen)
    if (item.second > 0) order.emplace_back(item.first, &candidate);
  std::stable_sort(order.begin(), order.end(),
                   [](const auto& a, const auto& b) { return a.first > b.first; });
  // What the slightest of them say of a reading is not worth the time.
  constexpr double enough = 1 - 1e-3;
  constexpr std::size_t most = 400;
  double seen = 0;
  std::vector<std::array<double, readings::slip_count>> sums(forecast.entry_count());
  for (std::size_t i = 0; i < order.size() && i < most; ++i) {
    if (seen >= enough * work.found.total || (i > 0 && work.late())) break;
    report(*work.progress, 0.99 + 0.01 * static_cast<double>(i) / most);
    const auto& [weight, candidate] = order[i];
    seen += weight;
    for (std::size_t e = 0; e < forecast.entry_count(); ++e) {
      const auto shares = work.predictions().slips_of(*candidate, e);
      for (std::size_t w = 0; w < shares.size(); ++w) sums[e][w] += weight / work.total * shares[w];
    }
  }
  const double scale = seen > 0 ? work.found.total / seen : 1;
  for (std::size_t e = 0; e < forecast.entry_count(); ++e) {
    auto& entry = result.entries[work.observations->given(e)];
    for (std::size_t w = 0; w < sums[e].size(); ++w) entry.by_slip[w] = sums[e][w] * scale;
    entry.misreading =
        std::max(0.0, 1 - result.not_in_model - entry.by_slip[index_of(readings::Slip::proper)]);
  }
  for (std::size_t g = 0; g < work.observations->group_count(); ++g) {
    // A repeated reading's marginal is its share of the group's; a single one's is exact.
    const auto& members = forecast.group(g);
    const double marginal = std::pow(work.marginals[g] * work.observations->ceiling(g),
                                     1.0 / static_cast<double>(members.size()));
    for (const auto e : members) result.entries[work.observations->given(e)].marginal = marginal;
  }
  for (auto& entry : result.entries) {
    const auto& e = work.evidence->entries[entry.entry];
    if (e.type != Entry::Type::look || !e.informative()) continue;
    // What was seen before a repair is measured by how things were then.
    const auto mended =
        std::find_if(result.repairs.begin(), result.repairs.end(), [&](const RepairReport& report) {
          return report.repair.component == e.component && report.repair.epoch > e.epoch;
        });
    if (mended == result.repairs.end()) {
      entry.misreading = work.ground->looks.misreading(e, result.modes, result.components);
      continue;
    }
    auto modes = result.modes;
    auto components = result.components;
    for (const auto m : space_->vehicle().components[at(e.component)].modes) modes[at(m)] = 0;
    for (const auto& part : mended->modes) modes[at(part.mode)] = part.share;
    components[at(e.component)] = mended->was_faulty;
    entry.misreading = work.ground->looks.misreading(e, modes, components);
  }
}

void Belief::weigh(const Work& work, const Options& options, Posterior& result,
                   const Progress& progress) {
  const auto& evidence = *work.evidence;
  auto plain = options;
  plain.weigh_entries = false;
  plain.judge_entries = false;
  plain.search.most_seconds /= static_cast<double>(evidence.entries.size()) + 1;
  const auto odds = [](double p) { return p / std::max(1 - p, 1e-300); };
  for (std::size_t i = 0; i < evidence.entries.size(); ++i) {
    auto& entry = result.entries[i];
    if (!entry.used) continue;
    // However little each may take, all of many entries can take longer.
    if (options.search.most_seconds > 0 && work.seconds() > options.search.most_seconds) {
      result.complete = false;
      break;
    }
    auto others = evidence;
    others.entries.erase(others.entries.begin() + static_cast<std::ptrdiff_t>(i));
    const double from = static_cast<double>(i) + 1;
    const double parts = static_cast<double>(evidence.entries.size()) + 1;
    const Progress part =
        !progress ? Progress{} : [&](double share) { return progress((from + share) / parts); };
    const auto without = posterior(others, plain, part);
    entry.predictive = std::exp(result.log_evidence - without.log_evidence);
    entry.decibans.resize(result.components.size());
    for (std::size_t c = 0; c < entry.decibans.size(); ++c) {
      const double after = odds(result.components[c]);
      const double before = odds(without.components[c]);
      entry.decibans[c] = after > 0 && before > 0 ? 10 * std::log10(after / before) : 0;
    }
  }
}

}  // namespace faultloom::belief
