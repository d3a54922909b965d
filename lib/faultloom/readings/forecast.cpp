#include <faultloom/readings/forecast.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <faultloom/base/error.hpp>
#include <limits>
#include <map>

namespace faultloom::readings {
namespace {

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

bool same_reading(const Entry& a, const Entry& b) {
  return a.epoch == b.epoch && a.type == b.type && a.instrument == b.instrument && a.red == b.red &&
         a.black == b.black && a.element == b.element && a.sign == b.sign && a.state == b.state &&
         a.lifted_elements == b.lifted_elements && a.bridged_elements == b.bridged_elements &&
         a.visit == b.visit && a.provocation == b.provocation && a.provoked_zone == b.provoked_zone;
}

}  // namespace

Forecast::Forecast(circuit::Solver& solver, const InstrumentSet& instruments,
                   std::vector<Entry> entries)
    : solver_(&solver),
      instruments_(&instruments),
      entries_(std::move(entries)),
      work_(entries_.size()) {
  for (const auto& entry : entries_) plan_entry(entry);
  for (const auto& plan : plans_) {
    stages_.push_back(plan.stage);
    if (plan.before != vehicle::none) stages_.push_back(plan.before);
  }
  // Parents are registered before their children, so ascending handles settle each stage once.
  std::sort(stages_.begin(), stages_.end());
  stages_.erase(std::unique(stages_.begin(), stages_.end()), stages_.end());
  reads_.resize(stages_.size());
  reads_before_.resize(stages_.size());
  const auto position = [&](circuit::Stage stage) {
    return static_cast<std::size_t>(std::lower_bound(stages_.begin(), stages_.end(), stage) -
                                    stages_.begin());
  };
  for (std::size_t i = 0; i < plans_.size(); ++i) {
    reads_[position(plans_[i].stage)].push_back(i);
    if (plans_[i].before != vehicle::none) reads_before_[position(plans_[i].before)].push_back(i);
  }
  make_groups();
}

void Forecast::plan_entry(const Entry& entry) {
  if (entry.type == Entry::Type::look)
    throw Error(Code::reading, "A look is not an electrical reading");
  if (entry.type == Entry::Type::cue)
    throw Error(Code::reading, "A cue is not an electrical reading");
  Plan plan;
  plan.stage = solver_->stage(entry.state, entry.lifted_elements, entry.bridged_elements);
  plan.before = solver_->previous(plan.stage);
  if (entry.type == Entry::Type::reading && entry.red != vehicle::none) {
    plan.near = neighbours(solver_->circuit().vehicle(), entry.red);
    std::erase(plan.near, entry.black);
  }
  if (entry.type == Entry::Type::reading) {
    const auto& instrument = instrument_of(entry);
    const auto& errors = instrument.errors;
    auto& share = plan.shares;
    share.no_contact = errors.no_contact;
    share.wrong_neighbour = plan.near.empty() ? 0 : errors.wrong_neighbour;
    share.wrong_state = plan.before == vehicle::none ? 0 : errors.wrong_state;
    share.gross = errors.gross;
    share.proper = 1 - share.no_contact - share.wrong_neighbour - share.wrong_state - share.gross;
    const bool clamp = instrument.type == Instrument::Type::clamp;
    plan.without_contact =
        proper_probability(*instruments_, instrument, entry.outcome, entry.number,
                           clamp ? Thevenin{} : open_port, entry.tolerance);
  }
  plans_.push_back(std::move(plan));
}

void Forecast::make_groups() {
  for (std::size_t i = 0; i < entries_.size(); ++i) {
    const auto& e = entries_[i];
    const auto found = std::find_if(groups_.begin(), groups_.end(), [&](const auto& group) {
      return same_reading(entries_[group.front()], e);
    });
    const auto g = static_cast<std::size_t>(found - groups_.begin());
    if (found == groups_.end()) groups_.emplace_back();
    groups_[g].push_back(i);
    group_of_.push_back(g);
  }
  for (const auto& e : entries_)
    entry_ceilings_.push_back(
        e.type == Entry::Type::reading
            ? ceiling_probability(*instruments_, instrument_of(e), e.outcome, e.number, e.tolerance)
            : 1);
  for (const auto& group : groups_) {
    double product = 1;
    for (const auto i : group) product *= entry_ceilings_[i];
    // Holds for correlated repeats too: each way of misreading is bounded by the same ceilings.
    ceilings_.push_back(product);
  }
}

const Instrument& Forecast::instrument_of(const Entry& entry) const {
  return instruments_->instruments[static_cast<std::size_t>(entry.instrument)];
}

Thevenin Forecast::port_of(const Entry& entry, Index red) {
  return instrument_of(entry).type == Instrument::Type::clamp
             ? clamped(*solver_, entry.element)
             : solver_->spread_port(red, entry.black);
}

void Forecast::read_before(std::size_t i) {
  const auto& entry = entries_[i];
  if (entry.type == Entry::Type::sign) {
    // A click belongs to the move itself: if the control was not really moved, there was none.
    const bool on_change = solver_->circuit().vehicle().signs[at(entry.sign)].on_change;
    work_[i].sign_before =
        on_change ? SignTruth::absent : sign_truth(*solver_, entry.sign, plans_[i].before);
  } else {
    work_[i].before = port_of(entry, entry.red);
  }
}

void Forecast::read_sign(std::size_t i, EntryProbability& out) {
  const auto& entry = entries_[i];
  const bool has_before = plans_[i].before != vehicle::none;
  const auto& sense = instruments_->sense(solver_->circuit().vehicle().signs[at(entry.sign)].sense);
  const double wrong = has_before ? sense.wrong_state : 0.0;
  const auto truth = sign_truth(*solver_, entry.sign, plans_[i].stage);
  const double now = (1 - wrong) * sign_probability(sense, entry.outcome, truth);
  // Missing or imagining a sign is a misreading too: proper is the word that fits the truth.
  const bool fits = entry.outcome == outcome_of(truth);
  out.proper = fits ? now : 0;
  out.gross = fits ? 0 : now;
  out.wrong_state =
      has_before ? wrong * sign_probability(sense, entry.outcome, work_[i].sign_before) : 0;
  out.total = out.proper + out.gross + out.wrong_state;
}

void Forecast::read(std::size_t i, EntryProbability& out) {
  out = {};
  const auto& entry = entries_[i];
  if (entry.type == Entry::Type::sign) {
    read_sign(i, out);
    return;
  }
  const auto& instrument = instrument_of(entry);
  const auto& share = plans_[i].shares;
  const auto probability = [&](const Thevenin& port) {
    return proper_probability(*instruments_, instrument, entry.outcome, entry.number, port,
                              entry.tolerance);
  };
  const auto& near = plans_[i].near;
  out.proper = share.proper * probability(port_of(entry, entry.red));
  for (const auto red : near)
    out.wrong_neighbour +=
        share.wrong_neighbour / static_cast<double>(near.size()) * probability(port_of(entry, red));
  if (share.wrong_state > 0) out.wrong_state = share.wrong_state * probability(work_[i].before);
  out.no_contact = share.no_contact * plans_[i].without_contact;
  out.gross = share.gross * gross_probability(instrument, entry.outcome);
  out.total = out.proper + out.no_contact + out.wrong_neighbour + out.wrong_state + out.gross;
}

void Forecast::walk(const circuit::Overrides& overrides, std::span<const circuit::Setting> settings,
                    const Bits* needed, std::span<EntryProbability> out) {
  const auto wanted = [&](std::size_t i) {
    return needed == nullptr || needed->test(group_of_[i]);
  };
  solver_->begin(overrides, settings);
  for (std::size_t s = 0; s < stages_.size(); ++s) {
    for (const auto i : reads_before_[s]) {
      if (!wanted(i)) continue;
      solver_->enter(stages_[s]);
      read_before(i);
    }
    for (const auto i : reads_[s]) {
      if (!wanted(i)) continue;
      solver_->enter(stages_[s]);
      read(i, out[i]);
    }
  }
}

void Forecast::evaluate(const circuit::Overrides& overrides, std::span<EntryProbability> out,
                        std::span<const circuit::Setting> settings) {
  walk(overrides, settings, nullptr, out);
}

void Forecast::evaluate_groups(const circuit::Overrides& overrides,
                               std::span<const circuit::Setting> settings, const Bits& needed,
                               std::span<EntryProbability> out) {
  walk(overrides, settings, &needed, out);
}

double Forecast::group_probability(std::size_t g, std::span<const EntryProbability> entries,
                                   std::optional<std::size_t> without) const {
  const auto repeats = repeated(g, entries, without);
  if (repeats.count < 2) return repeats.fresh;
  const double c = instruments_->repeat_correlation;
  return (1 - c) * repeats.fresh + c * (repeats.same_proper + repeats.same_other);
}

void Forecast::shown_numbers(const circuit::Overrides& overrides, std::span<double> out,
                             std::span<const circuit::Setting> settings) {
  std::fill(out.begin(), out.end(), std::numeric_limits<double>::quiet_NaN());
  solver_->begin(overrides, settings);
  for (std::size_t i = 0; i < entries_.size(); ++i) {
    const auto& e = entries_[i];
    if (e.type != Entry::Type::reading || e.outcome != Outcome::number) continue;
    solver_->enter(plans_[i].stage);
    out[i] = shown(*instruments_, instrument_of(e), port_of(e, e.red)).value;
  }
}

double Forecast::group_anything(std::size_t g, double nominal_volt) const {
  const double c = instruments_->repeat_correlation;
  double product = 1;
  bool first = true;
  // Of words the one that came most often; what comes and goes says now this, now that.
  std::map<Outcome, std::size_t> counts;
  for (const auto i : groups_[g]) ++counts[entries_[i].outcome];
  const auto usual =
      std::max_element(counts.begin(), counts.end(), [](const auto& a, const auto& b) {
        return a.second < b.second;
      })->first;
  for (const auto i : groups_[g]) {
    const auto& e = entries_[i];
    double p = e.outcome == Outcome::chatters ? 0.1 : 0.45;
    if (e.type == Entry::Type::reading) {
      const auto& instrument = instrument_of(e);
      const auto& shares = plans_[i].shares;
      const double gross = gross_probability(instrument, e.outcome);
      double proper = gross;
      const double reach = 1.2 * nominal_volt;
      if (instrument.type == Instrument::Type::voltmeter && std::abs(e.number) <= reach)
        proper = std::min(1.0, std::max(instrument.resolution, e.tolerance) / reach);
      p = (shares.proper + shares.wrong_neighbour + shares.wrong_state) * proper +
          shares.no_contact * plans_[i].without_contact + shares.gross * gross;
    }
    // The same again is half expected, something else that much less.
    if (e.outcome != usual) {
      product *= (1 - c) * p;
      continue;
    }
    product *= first ? p : (1 - c) * p + c;
    first = false;
  }
  return product;
}

double Forecast::group_at(std::size_t g, double volt, double most_volt, double volt_sigma) const {
  const auto i = groups_[g].front();
  const auto& e = entries_[i];
  const auto& instrument = instrument_of(e);
  const auto& shares = plans_[i].shares;
  const double proper = most_probability(*instruments_, instrument, e.outcome, e.number, volt,
                                         most_volt, volt_sigma, e.tolerance);
  return shares.proper * proper + shares.no_contact * plans_[i].without_contact +
         (shares.wrong_neighbour + shares.wrong_state) * entry_ceilings_[i] +
         shares.gross * gross_probability(instrument, e.outcome);
}

/// Upper bound of the probability of an entry read properly from a source of this voltage, whatever its
/// resistance: the more insulation there is in it, the less of the voltage is left and the less is known.
double Forecast::most_from(const Instrument& instrument, const Entry& entry, double volt) const {
  const auto at = [&](double ohm) {
    return proper_probability(*instruments_, instrument, entry.outcome, entry.number, {volt, ohm},
                              entry.tolerance);
  };
  double most = at(0);
  if (instrument.type != Instrument::Type::voltmeter) return most;
  constexpr double between = 1.05;  // what it may rise by from one of these resistances to the next
  for (double ohm = 1e4; ohm < 1e10; ohm *= 1.1) most = std::max(most, between * at(ohm));
  return most;
}

double Forecast::group_below(std::size_t g, double volt) const {
  const auto& members = groups_[g];
  const auto& e = entries_[members.front()];
  // A meter that shows more than there is, or a lamp brighter than there is voltage for; all else goes.
  const bool meter = e.type == Entry::Type::reading &&
                     instrument_of(e).type == Instrument::Type::voltmeter &&
                     std::abs(e.number) > volt;
  const bool lamp = e.type == Entry::Type::reading &&
                    instrument_of(e).type == Instrument::Type::lamp && e.outcome == Outcome::bright;
  if (members.size() > 1 || (!meter && !lamp)) return ceilings_[g];
  const auto& instrument = instrument_of(e);
  const auto& shares = plans_[members.front()].shares;
  const double most = most_from(instrument, e, std::copysign(volt, e.number));
  return (1 - shares.no_contact - shares.gross) * most +
         shares.no_contact * plans_[members.front()].without_contact +
         shares.gross * gross_probability(instrument, e.outcome);
}

double Forecast::group_slips_at_best(std::size_t g,
                                     std::span<const EntryProbability> entries) const {
  // Each entry's slips can at most reach their prior share times the entry's ceiling; repeats that share
  // a slip are bounded by the best single entry.
  double fresh = 1;
  double shared_proper = 1;
  double shared_slip = 1;
  for (const auto i : groups_[g]) {
    const auto& e = entries[i];
    double slip = 0;
    double most = 1;
    double share = 0;
    if (entries_[i].type == Entry::Type::sign) {
      slip = wrong_state_share(i);
      share = slip + e.gross;
    } else {
      const auto& shares = plans_[i].shares;
      most = entry_ceilings_[i];
      slip = (shares.wrong_neighbour + shares.wrong_state) * most;
      share = 1 - shares.proper;
    }
    const double total = e.proper + e.no_contact + e.gross + slip;
    fresh *= total;
    shared_proper = std::min(shared_proper, e.proper);
    shared_slip = std::min(shared_slip, share * most);
  }
  if (groups_[g].size() < 2) return fresh;
  const double c = instruments_->repeat_correlation;
  return (1 - c) * fresh + c * (shared_proper + shared_slip);
}

double Forecast::wrong_state_share(std::size_t i) const {
  if (plans_[i].before == vehicle::none) return 0;
  return instruments_->sense(solver_->circuit().vehicle().signs[at(entries_[i].sign)].sense)
      .wrong_state;
}

double Forecast::group_proper(std::size_t g, std::size_t entry,
                              std::span<const EntryProbability> entries) const {
  const auto& e = entries[entry];
  const auto repeats = repeated(g, entries, {});
  const double fresh = e.total > 0 ? repeats.fresh / e.total * e.proper : 0;
  if (repeats.count < 2) return fresh;
  const double c = instruments_->repeat_correlation;
  return (1 - c) * fresh + c * repeats.same_proper;
}

Forecast::Repeats Forecast::repeated(std::size_t g, std::span<const EntryProbability> entries,
                                     std::optional<std::size_t> without) const {
  Repeats result;
  const auto parts_of = [](const EntryProbability& e) {
    return std::array{e.proper, e.no_contact, e.wrong_neighbour, e.wrong_state, e.gross};
  };
  std::array<double, 5> same{1, 1, 1, 1, 1};
  std::array<double, 5> share{};
  bool alike = true;
  const EntryProbability* first = nullptr;
  auto first_outcome = Outcome::not_sure;
  for (const auto i : groups_[g]) {
    if (without == i) continue;
    result.fresh *= entries[i].total;
    ++result.count;
    if (entries_[i].type == Entry::Type::sign) {
      if (first != nullptr) alike = alike && entries_[i].outcome == first_outcome;
    } else {
      share = parts_of(plans_[i].shares);
      const auto parts = parts_of(entries[i]);
      for (std::size_t k = 0; k < share.size(); ++k)
        same[k] *= share[k] > 0 ? parts[k] / share[k] : 0;
    }
    if (first == nullptr) {
      first = &entries[i];
      first_outcome = entries_[i].outcome;
    }
  }
  if (first == nullptr) return result;
  if (entries_[groups_[g].front()].type == Entry::Type::sign) {
    // The same ear on the same moment: the same word again.
    result.same_proper = alike ? first->proper : 0;
    result.same_other = alike ? first->total - first->proper : 0;
    return result;
  }
  result.same_proper = share[0] * same[0];
  for (std::size_t k = 1; k < share.size(); ++k) result.same_other += share[k] * same[k];
  return result;
}

}  // namespace faultloom::readings
