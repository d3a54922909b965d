#include "unit/belief/oracle.hpp"

#include <faultloom/readings/response.hpp>

#include <boost/math/quadrature/tanh_sinh.hpp>

#include <algorithm>
#include <array>
#include <cmath>

namespace faultloom::test {
namespace {

using readings::Entry;
using readings::EntryProbability;
using readings::Instrument;
using readings::Outcome;
using vehicle::Component;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

constexpr std::array lamp_words{Outcome::bright, Outcome::dim, Outcome::dark};
constexpr std::array sign_words{Outcome::yes, Outcome::no};

readings::Thevenin port_of(circuit::Solver& solver, const Entry& e,
                           const std::vector<Index>& truth) {
  const auto& vehicle = solver.circuit().vehicle();
  const auto stage = solver.stage(e.state, e.lifted_elements);
  const auto overrides = circuit::overrides_of(solver.circuit(), truth);
  solver.begin(overrides, circuit::settings_of(vehicle, truth));
  solver.enter(stage);
  return e.type == Entry::Type::reading ? solver.port(e.red, e.black) : readings::Thevenin{};
}

}  // namespace

Corner::Corner(const vehicle::Vehicle& whole, readings::InstrumentSet instruments,
               rates::Rates rates, const std::set<Index>& components, Choice choice)
    : vehicle_(std::make_unique<vehicle::Vehicle>(whole)),
      instruments_(std::move(instruments)),
      rates_(std::move(rates)) {
  for (std::size_t c = 0; c < vehicle_->components.size(); ++c) {
    auto& modes = vehicle_->components[c].modes;
    if (!components.contains(static_cast<Index>(c))) modes.clear();
    if (!choice.intermittent)
      std::erase_if(modes, [&](Index m) { return vehicle_->modes[at(m)].intermittent(); });
  }
  if (!choice.spread)
    for (auto& mode : vehicle_->modes) mode.spread_factor = 1;
  circuit_ = std::make_unique<circuit::Circuit>(*vehicle_);
  space_ = std::make_unique<belief::FaultSpace>(*circuit_);
}

Entry Corner::drawn(Entry entry, const std::vector<Index>& truth, double luck) const {
  circuit::Solver solver(*circuit_);
  std::vector<Entry> choices;
  if (entry.type == Entry::Type::sign) {
    for (const auto word : sign_words) choices.push_back(entry), choices.back().outcome = word;
  } else if (instruments_.instruments[at(entry.instrument)].type == Instrument::Type::lamp) {
    for (const auto word : lamp_words) choices.push_back(entry), choices.back().outcome = word;
  } else {
    // A number near what should be shown, or at random now and then.
    auto e = answered(entry, truth);
    e.number += (luck - 0.5) * 0.04 * e.number;
    if (luck > 0.95) e.number = 50 * luck * (luck - 0.9);
    return e;
  }
  readings::Forecast forecast(solver, instruments_, choices);
  std::vector<EntryProbability> p(choices.size());
  forecast.evaluate(circuit::overrides_of(*circuit_, truth), p,
                    circuit::settings_of(*vehicle_, truth));
  double sum = 0;
  for (const auto& one : p) sum += one.total;
  for (std::size_t i = 0; i < p.size(); ++i) {
    luck -= p[i].total / sum;
    if (luck <= 0) return choices[i];
  }
  return choices.back();
}

Entry Corner::answered(Entry entry, const std::vector<Index>& truth) const {
  circuit::Solver solver(*circuit_);
  const auto port = port_of(solver, entry, truth);
  if (entry.type == Entry::Type::sign) {
    const auto stage = solver.stage(entry.state, entry.lifted_elements);
    entry.outcome = readings::outcome_of(readings::sign_truth(solver, entry.sign, stage));
    return entry;
  }
  const auto& instrument = instruments_.instruments[at(entry.instrument)];
  if (instrument.type == Instrument::Type::lamp) {
    double most = -1;
    for (const auto word : lamp_words)
      if (const double p = readings::proper_probability(instruments_, instrument, word, 0, port);
          p > most) {
        most = p;
        entry.outcome = word;
      }
    return entry;
  }
  const auto shown = readings::shown(instruments_, instrument, port);
  entry.outcome = shown.overload ? Outcome::overload : Outcome::number;
  entry.number = shown.overload ? 0 : shown.value;
  return entry;
}

namespace {

/// Every component's choice of a mode, or none, one after another.
class Enumeration {
 public:
  Enumeration(const Corner& corner, const belief::Evidence& evidence, std::size_t most_faults)
      : corner_(corner),
        evidence_(evidence),
        most_(most_faults),
        solver_(corner.space().circuit()),
        forecast_(solver_, corner.instruments(), electrical()),
        priors_(rates::mode_priors(corner.vehicle(), corner.rates(), evidence.exposure)) {
    for (std::size_t c = 0; c < corner.vehicle().components.size(); ++c)
      if (!corner.vehicle().components[c].modes.empty()) able_.push_back(static_cast<Index>(c));
    find_events();
    result.modes.assign(corner.vehicle().modes.size(), 0);
    visit(0);
    for (auto& p : result.modes) p /= whole_;
    for (auto& [set, p] : result.sets) p /= whole_;
    result.no_fault /= whole_;
    result.log_evidence = std::log(whole_);
  }

  Exact result;

 private:
  struct Event {
    double probability = 1;
    std::map<Index, double> harm;  ///< by mode
  };
  struct Bundle {
    std::set<Index> members;
    std::vector<Event> events;
  };

  std::vector<Entry> electrical() {
    std::vector<Entry> list;
    for (const auto& e : evidence_.entries)
      if (e.informative() && (e.type == Entry::Type::reading || e.type == Entry::Type::sign))
        list.push_back(e);
    return list;
  }

  void find_events() {
    const auto& v = corner_.vehicle();
    const auto& rates = corner_.rates();
    const double hours =
        evidence_.exposure.hours > 0 ? evidence_.exposure.hours : rates.exposure_hours;
    std::map<std::string, std::set<Index>> groups;
    for (const auto& loom : v.looms)
      groups["loom " + loom.id] = {loom.wires.begin(), loom.wires.end()};
    for (std::size_t c = 0; c < v.components.size(); ++c)
      if (v.components[c].type == Component::Type::contact)
        groups["pins " + v.components[c].connector].insert(static_cast<Index>(c));
    for (const auto& [name, members] : groups) {
      Bundle bundle{members, {{}}};
      for (const auto& [id, event] : rates.events) {
        if ((event.on == rates::Event::On::loom) != (name.starts_with("loom"))) continue;
        Event e;
        e.probability = 1 - std::exp(-event.mean() * hours / 1e6);
        std::set<Index> harmed;
        for (const auto c : members) {
          double sum = 0;
          for (const auto m : v.components[at(c)].modes)
            if (event.mode_shares.contains(v.modes[at(m)].id))
              sum += event.mode_shares.find(v.modes[at(m)].id)->second;
          if (sum <= 0) continue;
          harmed.insert(c);
          for (const auto m : v.components[at(c)].modes)
            if (event.mode_shares.contains(v.modes[at(m)].id))
              e.harm[m] = event.mode_shares.find(v.modes[at(m)].id)->second / sum;
        }
        if (harmed.size() < 2) continue;
        const double hit = std::min(0.5, event.expected_hits / static_cast<double>(harmed.size()));
        for (auto& [m, p] : e.harm) p *= hit;
        bundle.events.front().probability -= e.probability;
        bundle.events.push_back(e);
      }
      if (bundle.events.size() > 1) bundles_.push_back(bundle);
    }
  }

  /// P(the component is in the state | event), its look included.
  double chance(Index c, Index mode, const Event* event) const {
    const auto& component = corner_.vehicle().components[at(c)];
    double failed = 0;
    double damaged = 0;
    for (const auto m : component.modes) {
      failed += priors_[at(m)];
      if (event != nullptr && event->harm.contains(m)) damaged += event->harm.at(m);
    }
    double p = mode < 0 ? (1 - failed) * (1 - damaged) : (1 - damaged) * priors_[at(mode)];
    if (mode >= 0 && event != nullptr && event->harm.contains(mode)) p += event->harm.at(mode);
    const double seen =
        mode < 0 ? component.look_false_alarm : corner_.vehicle().modes[at(mode)].seen;
    for (const auto& e : evidence_.entries)
      if (e.type == Entry::Type::look && e.informative() && e.component == c) {
        const double s = std::clamp(seen, 1e-4, 1 - 1e-4);
        p *= e.outcome == Outcome::damage ? s : 1 - s;
      }
    return p;
  }

  double prior() const {
    double p = 1;
    std::set<Index> done;
    for (const auto& bundle : bundles_) {
      double sum = 0;
      for (const auto& event : bundle.events) {
        double product = event.probability;
        for (const auto c : able_)
          if (bundle.members.contains(c)) product *= chance(c, mode_of(c), &event);
        sum += product;
      }
      for (const auto c : bundle.members) done.insert(c);
      p *= sum;
    }
    for (const auto c : able_)
      if (!done.contains(c)) p *= chance(c, mode_of(c), nullptr);
    return p;
  }

  Index mode_of(Index component) const {
    const auto found = chosen_.find(component);
    return found == chosen_.end() ? vehicle::none : found->second;
  }

  /// Of two faults on one wire the graver one counts.
  std::vector<Index> effective() const {
    std::map<std::int32_t, Index> by_variable;
    for (const auto& [c, m] : chosen_) {
      auto [entry, added] = by_variable.emplace(corner_.space().variable_of(c), m);
      if (!added && rank(m) > rank(entry->second)) entry->second = m;
    }
    std::vector<Index> modes;
    for (const auto& [v, m] : by_variable) modes.push_back(m);
    return modes;
  }

  std::int32_t rank(Index mode) const { return corner_.space().cells_of(mode).front().fault; }

  std::vector<EntryProbability> predicted(const std::vector<Index>& modes) {
    std::vector<EntryProbability> p(forecast_.entry_count());
    forecast_.evaluate(circuit::overrides_of(corner_.space().circuit(), modes), p,
                       circuit::settings_of(corner_.vehicle(), modes));
    return p;
  }

  double likelihood(const std::vector<Index>& modes) {
    const auto known = likelihoods_.find(modes);
    if (known != likelihoods_.end()) return known->second;
    std::vector<Index> coming;
    std::vector<Index> lasting;
    for (const auto m : modes)
      (corner_.vehicle().modes[at(m)].intermittent() ? coming : lasting).push_back(m);
    std::vector<std::vector<EntryProbability>> by_mask;
    for (std::size_t mask = 0; mask < std::size_t{1} << coming.size(); ++mask) {
      auto active = lasting;
      for (std::size_t i = 0; i < coming.size(); ++i)
        if (((mask >> i) & 1U) != 0) active.push_back(coming[i]);
      by_mask.push_back(predicted(active));
    }
    std::vector<double> duty(coming.size());
    const double value = integrate(coming, 0, duty, by_mask);
    likelihoods_[modes] = value;
    return value;
  }

  /// The mean over the Beta distributions, one fault after another.
  double integrate(const std::vector<Index>& coming, std::size_t i, std::vector<double>& duty,
                   const std::vector<std::vector<EntryProbability>>& by_mask) {
    if (i == coming.size()) return at_duty(duty, by_mask);
    const auto& beta = corner_.vehicle().modes[at(coming[i])].duty;
    boost::math::quadrature::tanh_sinh<double> rule(9);
    const double norm =
        std::exp(std::lgamma(beta.a + beta.b) - std::lgamma(beta.a) - std::lgamma(beta.b));
    return rule.integrate(
        [&](double d) {
          if (d <= 0 || d >= 1) return 0.0;
          duty[i] = d;
          return norm * std::pow(d, beta.a - 1) * std::pow(1 - d, beta.b - 1) *
                 integrate(coming, i + 1, duty, by_mask);
        },
        0.0, 1.0, 1e-9);
  }

  /// Per visit: the same state throughout, or every reading drawn anew.
  double at_duty(const std::vector<double>& duty,
                 const std::vector<std::vector<EntryProbability>>& by_mask) const {
    const auto& how = corner_.rates().intermittence;
    std::map<int, double> apart;
    std::map<int, std::vector<double>> alike;
    std::vector<double> weight;
    for (std::size_t mask = 0; mask < by_mask.size(); ++mask) {
      double w = 1;
      for (std::size_t i = 0; i < duty.size(); ++i)
        w *= ((mask >> i) & 1U) != 0 ? duty[i] : 1 - duty[i];
      weight.push_back(w);
    }
    for (std::size_t e = 0; e < forecast_.entry_count(); ++e) {
      const int visit = forecast_.entries()[e].visit;
      double mean = 0;
      alike.try_emplace(visit, std::vector<double>(by_mask.size(), 1));
      for (std::size_t mask = 0; mask < by_mask.size(); ++mask) {
        mean += weight[mask] * by_mask[mask][e].total;
        alike[visit][mask] *= by_mask[mask][e].total;
      }
      apart.try_emplace(visit, 1.0).first->second *= mean;
    }
    double product = 1;
    for (const auto& [visit, value] : apart) {
      double same = 0;
      for (std::size_t mask = 0; mask < by_mask.size(); ++mask)
        same += weight[mask] * alike[visit][mask];
      product *=
          by_mask.size() == 1 ? value : how.persistence * same + (1 - how.persistence) * value;
    }
    return product;
  }

  void visit(std::size_t i) {
    if (i < able_.size()) {
      visit(i + 1);
      if (chosen_.size() == most_) return;
      for (const auto m : corner_.vehicle().components[at(able_[i])].modes) {
        chosen_[able_[i]] = m;
        visit(i + 1);
        chosen_.erase(able_[i]);
      }
      return;
    }
    const double p = prior();
    if (p <= 0) return;
    const auto modes = effective();
    const double weight = p * likelihood(modes);
    whole_ += weight;
    for (const auto& [c, m] : chosen_) result.modes[at(m)] += weight;
    if (chosen_.empty()) result.no_fault = weight;
    result.sets[{modes.begin(), modes.end()}] += weight;
  }

  const Corner& corner_;
  const belief::Evidence& evidence_;
  std::size_t most_;
  circuit::Solver solver_;
  readings::Forecast forecast_;
  std::vector<double> priors_;
  std::vector<Index> able_;
  std::vector<Bundle> bundles_;
  std::map<Index, Index> chosen_;
  std::map<std::vector<Index>, double> likelihoods_;
  double whole_ = 0;
};

}  // namespace

Exact enumerate(const Corner& corner, const belief::Evidence& evidence, std::size_t most_faults) {
  return Enumeration(corner, evidence, most_faults).result;
}

}  // namespace faultloom::test
