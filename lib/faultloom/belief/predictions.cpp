#include <faultloom/belief/predictions.hpp>

#include <algorithm>
#include <array>
#include <cmath>

namespace faultloom::belief {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

using readings::Entry;
using readings::EntryProbability;
using readings::Slip;

/// a times the one plus b times the other, part by part.
EntryProbability mixed(const EntryProbability& x, double a, const EntryProbability& y, double b) {
  EntryProbability r;
  r.total = a * x.total + b * y.total;
  r.proper = a * x.proper + b * y.proper;
  r.no_contact = a * x.no_contact + b * y.no_contact;
  r.wrong_neighbour = a * x.wrong_neighbour + b * y.wrong_neighbour;
  r.wrong_state = a * x.wrong_state + b * y.wrong_state;
  r.gross = a * x.gross + b * y.gross;
  return r;
}

double part_of(const EntryProbability& e, Slip slip) {
  switch (slip) {
    case Slip::proper:
      return e.proper;
    case Slip::no_contact:
      return e.no_contact;
    case Slip::wrong_neighbour:
      return e.wrong_neighbour;
    case Slip::wrong_state:
      return e.wrong_state;
    case Slip::gross:
      return e.gross;
  }
  return 0;
}

constexpr std::size_t most_slots = 64;
constexpr std::size_t most_nodes = 60000;
/// Of one to two kilobytes each.
constexpr std::size_t most_relevances = 50000;

/// What the entries of a visit are worth under a set with faults that come and go.
struct VisitProduct {
  int number;
  double apart = 1;           ///< every try drawn anew
  std::vector<double> alike;  ///< by mask of those at work: the same throughout
};

/// EMF of a source with an override [V]; none if it is open.
double emf_with(const circuit::Override& o) {
  return o.siemens > 0 ? std::abs(o.ampere / o.siemens) : 0;
}

/// Sum of the sources' EMFs, each as high as any fault puts it [V].
double most_source_volt(const FaultSpace& space) {
  const auto& elements = space.vehicle().elements;
  double sum = 0;
  for (std::size_t e = 0; e < elements.size(); ++e) {
    if (elements[e].type != vehicle::ElementType::source) continue;
    double emf = std::abs(elements[e].emf_volt);
    for (const auto& fault : space.faults())
      for (const auto& o : fault.overrides)
        if (o.element == static_cast<Index>(e)) emf = std::max(emf, emf_with(o));
    sum += emf;
  }
  return sum;
}

/// Adds tries to a visit in which everything is at work, or in none of which it is.
/// @param chance  of that if each is drawn anew
void try_further(int number, double chance, bool quiet, std::size_t masks,
                 std::vector<VisitProduct>& visits) {
  auto visit = std::find_if(visits.begin(), visits.end(),
                            [&](const VisitProduct& v) { return v.number == number; });
  if (visit == visits.end())
    visit = visits.insert(visit, {number, 1, std::vector<double>(masks, 1)});
  visit->apart *= chance;
  if (quiet) {
    visit->alike.back() = 0;
  } else {
    std::fill(visit->alike.begin(), visit->alike.end() - 1, 0);
  }
}

}  // namespace

Predictions::Predictions(const FaultSpace& space, circuit::Solver& solver,
                         const readings::InstrumentSet& instruments, Intermittence intermittence)
    : space_(&space),
      solver_(&solver),
      instruments_(&instruments),
      intermittence_(std::move(intermittence)),
      relevance_(space, solver, instruments, Relevance::usual_tolerance),
      most_volt_(most_source_volt(space)) {}

void Predictions::forget_if_full() {
  if (slot_count_ <= most_slots && nodes_.size() <= most_nodes && relevances_ <= most_relevances)
    return;
  nodes_.clear();
  relevances_ = 0;
  capped_.clear();
  likelihoods_.clear();
  slot_of_.clear();
  slot_count_ = 0;
}

void Predictions::observe(const Observations& observations) {
  forget_if_full();
  observations_ = &observations;
  const auto before = std::move(seen_as_);
  seen_as_.clear();
  slots_.clear();
  for (std::size_t g = 0; g < observations.group_count(); ++g) {
    const auto [entry, added] = slot_of_.emplace(observations.key(g), slot_count_);
    if (added) ++slot_count_;
    slots_.push_back(entry->second);
    const auto& first = observations.first(g);
    seen_as_.push_back({entry->second, first.visit, first.provocation, first.provoked_zone,
                        first.epoch, observations.companions(g)});
  }
  find_epochs();
  if (seen_as_ != before) {
    ++generation_;
    likelihoods_.clear();
  }
  scratch_.resize(observations.forecast().entry_count());
  low_shown_.resize(scratch_.size());
  high_shown_.resize(scratch_.size());
}

void Predictions::find_epochs() {
  epochs_.clear();
  epoch_of_.clear();
  for (const auto& seen : seen_as_) epochs_.push_back(seen.epoch);
  std::sort(epochs_.begin(), epochs_.end());
  epochs_.erase(std::unique(epochs_.begin(), epochs_.end()), epochs_.end());
  if (epochs_.empty()) epochs_.push_back(0);
  for (const auto& seen : seen_as_)
    epoch_of_.push_back(static_cast<std::size_t>(
        std::lower_bound(epochs_.begin(), epochs_.end(), seen.epoch) - epochs_.begin()));
  alive_.assign(epochs_.size(), Bits(space_->faults().size()));
  for (std::size_t e = 0; e < epochs_.size(); ++e)
    for (std::size_t f = 0; f < space_->faults().size(); ++f)
      if (space_->life_of(static_cast<std::int32_t>(f)).covers(epochs_[e])) alive_[e].set(f);
}

std::vector<std::int32_t> Predictions::alive(std::span<const std::int32_t> faults,
                                             std::size_t e) const {
  std::vector<std::int32_t> result;
  space_->alive(faults, epochs_[e], result);
  return result;
}

Predictions::Node& Predictions::node(const std::vector<std::int32_t>& faults, std::size_t e) {
  // Kept by epoch: what is predicted for one is no use in the others.
  scratch_key_ = faults;
  if (epochs_[e] > 0) scratch_key_.push_back(-epochs_[e]);
  auto& node = nodes_[scratch_key_];
  if (node.checked_for == generation_) return node;
  if (node.cells.size() < slot_count_) node.cells.resize(slot_count_);
  bool complete = true;
  for (std::size_t g = 0; g < slots_.size(); ++g)
    complete = complete && (epoch_of_[g] != e || node.cells[slots_[g]].known);
  if (!complete) {
    space_->overrides(faults, overrides_);
    space_->settings(faults, settings_);
    predict(node, e);
  }
  node.is_tuned = false;
  node.tuned.clear();
  node.ohms.clear();
  node.mean_share = 1;
  tune(faults, node, e);
  node.checked_for = generation_;
  return node;
}

void Predictions::overrides_at(std::span<const std::int32_t> faults,
                               std::span<const std::pair<std::int32_t, double>> ohms) {
  std::vector<vehicle::Change> changes;
  for (const auto f : faults) {
    const auto place =
        std::find_if(ohms.begin(), ohms.end(), [&](const auto& item) { return item.first == f; });
    for (auto change : space_->fault(f).changes) {
      if (place != ohms.end() && change.add_ohm > 0) change.add_ohm = place->second;
      changes.push_back(change);
    }
  }
  overrides_ = circuit::overrides_of(space_->circuit(), changes);
}

/// Whether some number noted lies between what the two ends of a resistance's cell would show.
bool Predictions::hidden(const std::vector<std::int32_t>& faults, std::int32_t fault,
                         std::span<const std::pair<std::int32_t, double>> ohms, std::size_t e) {
  auto& forecast = observations_->forecast();
  std::vector<std::pair<std::int32_t, double>> ends(ohms.begin(), ohms.end());
  std::erase_if(ends, [&](const auto& item) { return item.first == fault; });
  ends.emplace_back(fault, 0);
  const double half = std::sqrt(FaultSpace::cell_ratio);
  ends.back().second = space_->fault(fault).ohm / half;
  overrides_at(faults, ends);
  forecast.shown_numbers(overrides_, low_shown_, settings_);
  ends.back().second = space_->fault(fault).ohm * half;
  overrides_at(faults, ends);
  forecast.shown_numbers(overrides_, high_shown_, settings_);
  for (std::size_t i = 0; i < low_shown_.size(); ++i) {
    if (forecast.entries()[i].epoch != epochs_[e]) continue;
    const double number = forecast.entries()[i].number;
    if ((number - low_shown_[i]) * (number - high_shown_[i]) < 0) return true;
  }
  return false;
}

void Predictions::tune(const std::vector<std::int32_t>& faults, Node& node, std::size_t e) {
  constexpr double fits = 0.3;
  constexpr int points = 24;
  auto& forecast = observations_->forecast();
  bool misfit = false;
  for (std::size_t g = 0; g < forecast.group_count(); ++g)
    misfit = misfit ||
             (epoch_of_[g] == e && observations_->first(g).outcome == readings::Outcome::number &&
              node.cells[slots_[g]].value < fits * observations_->ceiling(g));
  if (!misfit) return;
  space_->settings(faults, settings_);
  for (const auto f : faults) {
    const double middle = space_->fault(f).ohm;
    if (middle <= 0 || !hidden(faults, f, node.ohms, e)) continue;
    double best = -1;
    double sum = 0;
    std::vector<Cell> best_cells;
    double best_ohm = middle;
    std::vector<double> slips(forecast.group_count(), 0);
    for (int i = 0; i < points; ++i) {
      const double ohm = middle * std::pow(FaultSpace::cell_ratio, (i + 0.5) / points - 0.5);
      auto ohms = node.ohms;
      ohms.emplace_back(f, ohm);
      overrides_at(faults, ohms);
      Node other;
      other.cells.resize(slot_count_);
      predict(other, e);
      double product = 1;
      for (std::size_t g = 0; g < forecast.group_count(); ++g) {
        if (epoch_of_[g] != e) continue;
        const auto& c = other.cells[slots_[g]];
        product *= c.value / observations_->ceiling(g);
        slips[g] = std::max(slips[g], c.slips_at_best);
      }
      sum += product;
      if (product <= best) continue;
      best = product;
      best_ohm = ohm;
      best_cells.clear();
      for (const auto s : slots_) best_cells.push_back(other.cells[s]);
    }
    node.ohms.emplace_back(f, best_ohm);
    node.tuned = std::move(best_cells);
    for (std::size_t g = 0; g < slips.size(); ++g) node.tuned[g].slips_at_best = slips[g];
    node.mean_share *= best > 0 ? sum / points / best : 1;
    node.is_tuned = true;
  }
}

/// Fills in the groups that are missing, from overrides_ and settings_.
void Predictions::predict(Node& node, std::size_t e) {
  auto& forecast = observations_->forecast();
  Bits needed(std::max<std::size_t>(forecast.group_count(), 1));
  for (std::size_t g = 0; g < forecast.group_count(); ++g)
    if (epoch_of_[g] == e && !node.cells[slots_[g]].known) needed.set(g);
  forecast.evaluate_groups(overrides_, settings_, needed, scratch_);
  for (std::size_t g = 0; g < forecast.group_count(); ++g) {
    if (!needed.test(g)) continue;
    auto& c = node.cells[slots_[g]];
    for (const auto i : forecast.group(g)) c.entries.push_back(scratch_[i]);
    c.value = forecast.group_probability(g, scratch_);
    c.slips_at_best = forecast.group_slips_at_best(g, scratch_);
    c.known = true;
  }
  ++made_;
}

std::size_t Predictions::intermittent_count(const Candidate& candidate) const {
  return static_cast<std::size_t>(
      std::count_if(candidate.faults.begin(), candidate.faults.end(),
                    [&](std::int32_t f) { return space_->fault(f).duty.a > 0; }));
}

Predictions::Blend Predictions::blend(const Candidate& candidate) {
  Blend result;
  for (const auto f : candidate.faults)
    if (space_->fault(f).duty.a > 0) result.intermittent.push_back(f);
  for (std::size_t mask = 0; mask < result.masks(); ++mask)
    for (std::size_t e = 0; e < epochs_.size(); ++e)
      result.nodes.push_back(&node(active_of(candidate, result, mask, e), e));
  return result;
}

double Predictions::mean_share(const Blend& blend, std::size_t mask) const {
  double product = 1;
  for (std::size_t e = 0; e < epochs_.size(); ++e)
    product *= blend.nodes[mask * epochs_.size() + e]->mean_share;
  return product;
}

double Predictions::group_value(std::size_t g, std::span<const EntryProbability> entries,
                                const std::optional<Exception>& exception) const {
  const auto& forecast = observations_->forecast();
  if (!exception) return forecast.group_probability(g, entries);
  return exception->slip == Slip::proper
             ? forecast.group_proper(g, exception->entry, entries)
             : forecast.group_probability(g, entries, exception->entry) *
                   part_of(entries[exception->entry], exception->slip);
}

double Predictions::likelihood(const Blend& blend, const std::optional<Exception>& exception) {
  if (!blend.intermittent.empty()) return integrate(blend, exception, {});
  const auto& forecast = observations_->forecast();
  double product = 1;
  for (std::size_t g = 0; g < forecast.group_count(); ++g) {
    auto& c = cell(node_of(blend, 0, g), g);
    double value = c.value;
    const auto& members = forecast.group(g);
    if (exception && std::find(members.begin(), members.end(), exception->entry) != members.end()) {
      for (std::size_t i = 0; i < members.size(); ++i) scratch_[members[i]] = c.entries[i];
      value = group_value(g, scratch_, exception);
    }
    product *= value / observations_->ceiling(g);
  }
  return product * mean_share(blend, 0);
}

double Predictions::provoked(std::int32_t fault, const Entry& entry, double duty) const {
  using Provocation = Entry::Provocation;
  if (entry.provocation == Provocation::nothing) return duty;
  bool here = entry.provoked_zone == none;
  for (const auto c : space_->variables()[at(space_->fault(fault).variable)].components)
    here = here || space_->vehicle().components[at(c)].zone == entry.provoked_zone;
  if (!here) return duty;
  const double gain = entry.provocation == Provocation::wiggle ? intermittence_.wiggle
                      : entry.provocation == Provocation::heat ? intermittence_.heat
                                                               : intermittence_.wet;
  return 1 - (1 - duty) * (1 - gain);
}

/// Weights of the masks at a moment that a sign told: given the sign, which counts by itself.
std::vector<double> Predictions::told(const Blend& blend, std::span<const double> weight,
                                      const Observations::Companion& companion) {
  std::vector<double> result(weight.begin(), weight.end());
  double sum = 0;
  for (std::size_t mask = 0; mask < result.size(); ++mask) {
    const auto& sign = cell(node_of(blend, mask, companion.group), companion.group);
    result[mask] *= sign.entries[companion.place].total;
    sum += result[mask];
  }
  if (sum <= 0) return {weight.begin(), weight.end()};
  for (auto& w : result) w /= sum;
  return result;
}

double Predictions::product_at(const Blend& blend, std::span<const double> duty,
                               const std::optional<Exception>& exception, const Further& further) {
  const auto& forecast = observations_->forecast();
  const auto masks = blend.masks();
  std::vector<double> weight(masks);
  const auto weigh = [&](const Entry* provocation) {
    for (std::size_t mask = 0; mask < masks; ++mask) {
      weight[mask] = 1;
      for (std::size_t i = 0; i < blend.intermittent.size(); ++i) {
        const double d = provocation == nullptr
                             ? duty[i]
                             : provoked(blend.intermittent[i], *provocation, duty[i]);
        weight[mask] *= ((mask >> i) & 1U) != 0 ? d : 1 - d;
      }
    }
  };
  const auto exception_of = [&](std::size_t g) -> std::optional<Exception> {
    const auto& members = forecast.group(g);
    const bool mine =
        exception && std::find(members.begin(), members.end(), exception->entry) != members.end();
    return mine ? exception : std::nullopt;
  };
  std::vector<double> moment;
  std::vector<VisitProduct> visits;
  double product = 1;
  for (std::size_t g = 0; g < forecast.group_count(); ++g) {
    const auto& first = observations_->first(g);
    const auto& members = forecast.group(g);
    const bool disturbed = first.provocation != Entry::Provocation::nothing;
    weigh(disturbed ? &first : nullptr);
    for (std::size_t i = 0; i < members.size(); ++i) {
      const auto* companion = observations_->companion(members[i]);
      if (companion != nullptr) moment = told(blend, weight, *companion);
      const auto& share = companion == nullptr ? weight : moment;
      EntryProbability sum;
      for (std::size_t mask = 0; mask < masks; ++mask)
        sum = mixed(sum, 1, cell(node_of(blend, mask, g), g).entries[i], share[mask]);
      scratch_[members[i]] = sum;
    }
    const double ceiling = observations_->ceiling(g);
    const double apart = group_value(g, scratch_, exception_of(g)) / ceiling;
    if (disturbed) {
      product *= apart;
      continue;
    }
    auto visit = std::find_if(visits.begin(), visits.end(),
                              [&](const VisitProduct& v) { return v.number == first.visit; });
    if (visit == visits.end()) {
      visits.push_back({first.visit, 1, std::vector<double>(masks, 1)});
      visit = visits.end() - 1;
    }
    visit->apart *= apart;
    for (std::size_t mask = 0; mask < masks; ++mask) {
      auto& c = cell(node_of(blend, mask, g), g);
      for (std::size_t i = 0; i < members.size(); ++i) scratch_[members[i]] = c.entries[i];
      visit->alike[mask] *= group_value(g, scratch_, exception_of(g)) / ceiling;
    }
  }
  if (further.count > 0) {
    weigh(further.provocation);
    const double once = further.quiet ? 1 - weight.back() : weight.back();
    const double each = std::pow(once, further.count);
    if (further.provocation != nullptr) {
      product *= each;
    } else {
      try_further(further.visit, each, further.quiet, masks, visits);
    }
  }
  // A resistance that one reading tells counts with the share of its cell that fits.
  double share = 1;
  for (std::size_t mask = 0; mask < masks; ++mask) share = std::min(share, mean_share(blend, mask));
  product *= share;
  weigh(nullptr);
  for (const auto& visit : visits) {
    double alike = 0;
    for (std::size_t mask = 0; mask < masks; ++mask) alike += weight[mask] * visit.alike[mask];
    product *= intermittence_.persistence * alike + (1 - intermittence_.persistence) * visit.apart;
  }
  return product;
}

const BetaRule& Predictions::rule(std::int32_t fault) {
  const auto& duty = space_->fault(fault).duty;
  const auto [entry, added] = rules_.try_emplace({duty.a, duty.b});
  if (added) entry->second = beta_rule(duty);
  return entry->second;
}

double Predictions::integrate(const Blend& blend, const std::optional<Exception>& exception,
                              const Further& further) {
  const auto& first = rule(blend.intermittent.front());
  double sum = 0;
  for (std::size_t i = 0; i < first.nodes.size(); ++i) {
    if (blend.intermittent.size() == 1) {
      sum += first.weights[i] * product_at(blend, std::array{first.nodes[i]}, exception, further);
      continue;
    }
    const auto& second = rule(blend.intermittent[1]);
    for (std::size_t j = 0; j < second.nodes.size(); ++j)
      sum += first.weights[i] * second.weights[j] *
             product_at(blend, std::array{first.nodes[i], second.nodes[j]}, exception, further);
  }
  return sum;
}

double Predictions::likelihood(const Candidate& candidate) {
  const auto [entry, added] = likelihoods_.try_emplace(candidate.faults, 0.0);
  if (added) entry->second = likelihood(blend(candidate), {});
  return entry->second;
}

Predictions::Swing Predictions::swing(const Candidate& candidate, int visit) {
  Swing result;
  const auto mixture = blend(candidate);
  const auto zones = space_->vehicle().zones.size();
  result.wiggled.assign(zones, 1);
  if (mixture.intermittent.empty()) return result;
  const double whole = integrate(mixture, {}, {});
  const auto share = [&](const Further& further) {
    return whole > 0 ? std::clamp(integrate(mixture, {}, further) / whole, 0.0, 1.0) : 0;
  };
  result.now = share({visit, 1, nullptr, false});
  const double twice = share({visit, 2, nullptr, false});
  result.caught = std::max(result.now, 1 - share({visit, catching_tries, nullptr, true}));
  result.again = result.now > 0 ? std::min(1.0, twice / result.now) : 0;
  result.after_quiet =
      result.now < 1 ? std::clamp((result.now - twice) / (1 - result.now), 0.0, 1.0) : 0;
  Entry wiggle;
  wiggle.provocation = Entry::Provocation::wiggle;
  for (std::size_t z = 0; z < zones; ++z) {
    wiggle.provoked_zone = static_cast<Index>(z);
    result.wiggled[z] = share({visit, 1, &wiggle, false});
  }
  return result;
}

double Predictions::group(const Candidate& candidate, std::size_t g) {
  const auto e = epoch_of_[g];
  return cell(node(alive(candidate.faults, e), e), g).value / observations_->ceiling(g);
}

std::array<double, readings::slip_count> Predictions::slips_of(const Candidate& candidate,
                                                               std::size_t entry) {
  std::array<double, readings::slip_count> shares{};
  const auto mixture = blend(candidate);
  const auto& forecast = observations_->forecast();
  std::size_t g = 0;
  while (std::find(forecast.group(g).begin(), forecast.group(g).end(), entry) ==
         forecast.group(g).end())
    ++g;
  double sum = 0;
  for (std::size_t w = 0; w < shares.size(); ++w) {
    const Exception exception{entry, static_cast<Slip>(w)};
    if (mixture.intermittent.empty()) {
      // The other groups are the same for every slip.
      const auto& members = forecast.group(g);
      auto& c = cell(node_of(mixture, 0, g), g);
      for (std::size_t i = 0; i < members.size(); ++i) scratch_[members[i]] = c.entries[i];
      shares[w] = group_value(g, scratch_, exception);
    } else {
      shares[w] = likelihood(mixture, exception);
    }
    sum += shares[w];
  }
  // Repeats by one hand share their slips: what is not proper is split by the entry's own parts.
  const double whole = mixture.intermittent.empty() ? cell(node_of(mixture, 0, g), g).value
                                                    : likelihood(mixture, {});
  if (whole <= 0 || sum <= 0) return {1};
  auto& right_share = shares[readings::index_of(Slip::proper)];
  const double right = std::min(1.0, right_share / whole);
  const double wrong = sum - right_share;
  for (std::size_t w = 1; w < shares.size(); ++w)
    shares[w] = wrong > 0 ? (1 - right) * shares[w] / wrong : 0;
  right_share = right;
  return shares;
}

const Predictions::Relevant& Predictions::relevant_of(const std::vector<std::int32_t>& active,
                                                      Node& node, std::size_t g) {
  auto& kept = cell(node, g);
  if (kept.relevance_known) return kept.relevant;
  overrides_at(active, node.is_tuned ? node.ohms : std::vector<std::pair<std::int32_t, double>>{});
  space_->settings(active, settings_);
  solver_->begin(overrides_, settings_);
  if (relevance_of_ != active || relevance_made_ != made_) {
    // The stages' part of the work is shared by the groups of one set.
    relevance_.begin();
    relevance_of_ = active;
    relevance_made_ = made_;
  }
  const auto& forecast = observations_->forecast();
  auto bearing = relevance_.bearing(observations_->first(g));
  const double ceiling = observations_->ceiling(g);
  auto& result = kept.relevant;
  result.weakly = kept.slips_at_best / ceiling;
  if (forecast.group(g).size() > 1) {
    bearing.strong |= bearing.proper;  // repeats: no estimate of what half of it would do
  } else if (observations_->first(g).type == Entry::Type::reading) {
    if (std::isnan(bearing.half_volt)) {
      bearing.strong |= bearing.proper;
    } else {
      const double most = forecast.group_at(g, bearing.half_volt, most_volt_, bearing.volt_sigma);
      result.weakly = std::max(result.weakly, most / ceiling);
    }
  }
  result.weakly = std::min(1.0, result.weakly);
  result.any = std::move(bearing.slips);
  result.any |= bearing.proper;
  result.proper = std::move(bearing.proper);
  result.strong = std::move(bearing.strong);
  const auto& there = alive_[epoch_of_[g]];
  result.any &= there;
  result.proper &= there;
  result.strong &= there;
  result.signatures = relevance_.signatures();
  result.lively = relevance_.lively();
  kept.relevance_known = true;
  ++relevances_;
  return result;
}

const Predictions::Relevant& Predictions::relevant(const Candidate& candidate, std::size_t g) {
  auto mixture = blend(candidate);
  const auto e = epoch_of_[g];
  if (mixture.intermittent.empty())
    return relevant_of(alive(candidate.faults, e), node_of(mixture, 0, g), g);
  // Whatever matters with some of the intermittent faults at work matters.
  auto& kept = cell(node_of(mixture, mixture.masks() - 1, g), g);
  if (kept.joint_known) return kept.joint;
  const auto count = space_->faults().size();
  Relevant all{Bits(count), Bits(count), Bits(count), {}, {}, 0};
  for (std::size_t mask = 0; mask < mixture.masks(); ++mask) {
    const auto& one =
        relevant_of(active_of(candidate, mixture, mask, e), node_of(mixture, mask, g), g);
    all.proper |= one.proper;
    all.strong |= one.strong;
    all.any |= one.any;
    all.weakly = std::max(all.weakly, one.weakly);
    all.signatures.resize(one.signatures.size(), 0);
    all.lively.resize(one.lively.size(), false);
    for (std::size_t i = 0; i < one.lively.size(); ++i)
      if (one.lively[i]) all.lively[i] = true;
    for (std::size_t i = 0; i < one.signatures.size(); ++i)
      all.signatures[i] = all.signatures[i] * 31 + one.signatures[i];
  }
  kept.joint = std::move(all);
  kept.joint_known = true;
  ++relevances_;
  return kept.joint;
}

double Predictions::ceiling_untouched(const Candidate& candidate, std::size_t g) {
  double most = 0;
  const auto mixture = blend(candidate);
  for (std::size_t mask = 0; mask < mixture.masks(); ++mask)
    most = std::max(most,
                    cell(node_of(mixture, mask, g), g).slips_at_best / observations_->ceiling(g));
  return std::min(1.0, most);
}

std::vector<std::int32_t> Predictions::active_of(const Candidate& candidate, const Blend& mixture,
                                                 std::size_t mask, std::size_t e) const {
  std::vector<std::int32_t> active;
  for (const auto f : candidate.faults) {
    if (!alive_[e].test(at(f))) continue;
    const auto place = std::find(mixture.intermittent.begin(), mixture.intermittent.end(), f) -
                       mixture.intermittent.begin();
    const bool permanent = place == static_cast<std::ptrdiff_t>(mixture.intermittent.size());
    if (permanent || ((mask >> place) & 1U) != 0) active.push_back(f);
  }
  return active;
}

double Predictions::source_volt(std::span<const std::int32_t> faults) const {
  const auto& vehicle = space_->vehicle();
  double sum = 0;
  for (std::size_t e = 0; e < vehicle.elements.size(); ++e) {
    const auto& element = vehicle.elements[e];
    if (element.type != vehicle::ElementType::source) continue;
    double emf = std::abs(element.emf_volt);
    for (const auto f : faults)
      for (const auto& o : space_->fault(f).overrides)
        if (o.element == static_cast<Index>(e)) emf = emf_with(o);
    sum += emf;
  }
  return sum;
}

double Predictions::ceiling_with_help(const Candidate& candidate, std::size_t g) {
  const auto& entry = observations_->first(g);
  if (entry.type != Entry::Type::reading) return 1;
  // An intermittent source fault may be away: count the lasting ones only.
  std::vector<std::int32_t> lasting;
  for (const auto f : candidate.faults)
    if (space_->fault(f).duty.a <= 0 && alive_[epoch_of_[g]].test(at(f))) lasting.push_back(f);
  auto& n = node(lasting, epoch_of_[g]);
  if (n.source_volt < 0) n.source_volt = source_volt(lasting);
  const auto [known, added] = capped_.try_emplace({slots_[g], n.source_volt}, 1.0);
  if (added)
    known->second = std::min(
        1.0, observations_->forecast().group_below(g, n.source_volt) / observations_->ceiling(g));
  return known->second;
}

double Predictions::ceiling_without_help(const Candidate& candidate, std::uint64_t groups) {
  const auto mixture = blend(candidate);
  const auto count = std::min(observations_->group_count(), most_marked);
  const auto marked = [&](std::size_t g) { return ((groups >> g) & 1U) != 0; };
  const auto masks = mixture.masks();
  std::vector<std::vector<double>> best(masks);
  for (std::size_t mask = 0; mask < masks; ++mask) {
    std::vector<std::vector<std::int32_t>> active;
    for (std::size_t e = 0; e < epochs_.size(); ++e)
      active.push_back(active_of(candidate, mixture, mask, e));
    for (std::size_t g = 0; g < count; ++g)
      best[mask].push_back(
          marked(g) ? relevant_of(active[epoch_of_[g]], node_of(mixture, mask, g), g).weakly : 1);
  }
  if (mixture.intermittent.empty()) {
    double product = 1;
    for (std::size_t g = 0; g < count; ++g) product *= best.front()[g];
    return product;
  }
  // Within a visit the faults keep still with the chance `persistence`; otherwise, and where provoked,
  // every group is drawn anew. Both are bounded by the same mixture, group by group.
  std::vector<double> weight(masks);
  const auto at_duty = [&](std::span<const double> duty) {
    for (std::size_t mask = 0; mask < masks; ++mask) {
      weight[mask] = 1;
      for (std::size_t i = 0; i < mixture.intermittent.size(); ++i)
        weight[mask] *= ((mask >> i) & 1U) != 0 ? duty[i] : 1 - duty[i];
    }
    double apart = 1;
    std::map<int, std::pair<double, std::vector<double>>> visits;
    for (std::size_t g = 0; g < count; ++g) {
      if (!marked(g)) continue;
      const auto& first = observations_->first(g);
      double most = 0;
      double mean = 0;
      for (std::size_t mask = 0; mask < masks; ++mask) {
        const double value = best[mask][g];
        most = std::max(most, value);
        mean += weight[mask] * value;
      }
      // Given the sign that told when, the mean may be more than over all moments.
      const bool single =
          observations_->forecast().group(g).size() == 1 && !observations_->told_when(g);
      if (first.provocation != Entry::Provocation::nothing) {
        apart *= most;
        continue;
      }
      auto& [drawn, alike] =
          visits.try_emplace(first.visit, 1.0, std::vector<double>(masks, 1.0)).first->second;
      drawn *= single ? mean : most;  // repeats may mix states among themselves
      for (std::size_t mask = 0; mask < masks; ++mask) alike[mask] *= best[mask][g];
    }
    for (const auto& [visit, item] : visits) {
      double alike = 0;
      for (std::size_t mask = 0; mask < masks; ++mask) alike += weight[mask] * item.second[mask];
      apart *= intermittence_.persistence * alike + (1 - intermittence_.persistence) * item.first;
    }
    return apart;
  };
  double sum = 0;
  const auto& first = rule(mixture.intermittent.front());
  for (std::size_t i = 0; i < first.nodes.size(); ++i) {
    if (mixture.intermittent.size() == 1) {
      sum += first.weights[i] * at_duty(std::array{first.nodes[i]});
      continue;
    }
    const auto& second = rule(mixture.intermittent[1]);
    for (std::size_t j = 0; j < second.nodes.size(); ++j)
      sum += first.weights[i] * second.weights[j] *
             at_duty(std::array{first.nodes[i], second.nodes[j]});
  }
  return sum;
}

double Predictions::at_resistance(const Candidate& candidate, std::int32_t fault, double ohm) {
  if (intermittent_count(candidate) > 0) return likelihood(candidate);
  double product = 1;
  for (std::size_t e = 0; e < epochs_.size(); ++e) {
    const auto active = alive(candidate.faults, e);
    auto& own = node(active, e);
    Node other;
    const bool there = alive_[e].test(at(fault));
    if (there) {
      auto ohms = own.ohms;
      std::erase_if(ohms, [&](const auto& item) { return item.first == fault; });
      ohms.emplace_back(fault, ohm);
      overrides_at(active, ohms);
      space_->settings(active, settings_);
      other.cells.resize(slot_count_);
      predict(other, e);
    } else {
      product *= own.mean_share;
    }
    for (std::size_t g = 0; g < observations_->group_count(); ++g)
      if (epoch_of_[g] == e)
        product *=
            (there ? other.cells[slots_[g]] : cell(own, g)).value / observations_->ceiling(g);
  }
  return product;
}

}  // namespace faultloom::belief
