#include "unit/belief/oracle.hpp"

#include <faultloom/readings/response.hpp>

#include <boost/math/quadrature/tanh_sinh.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <tuple>

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
  const auto stage = solver.stage(e.state, e.lifted_elements, e.bridged_elements);
  const auto overrides = circuit::overrides_of(solver.circuit(), truth);
  solver.begin(overrides, circuit::settings_of(vehicle, truth));
  solver.enter(stage);
  return e.type == Entry::Type::reading ? solver.spread_port(e.red, e.black) : readings::Thevenin{};
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
    const auto stage = solver.stage(entry.state, entry.lifted_elements, entry.bridged_elements);
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
      if (!corner.vehicle().components[c].modes.empty()) add_lives(static_cast<Index>(c));
    find_events();
    result.was_faulty.assign(evidence.repairs.size(), 0);
    result.modes.assign(corner.vehicle().modes.size(), 0);
    visit(0);
    for (auto& p : result.modes) p /= whole_;
    for (auto& [set, p] : result.sets) p /= whole_;
    for (auto& p : result.was_faulty) p /= whole_;
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
  /// A component between two repairs of it.
  struct Life {
    Index component = vehicle::none;
    int from = 0;
    int until = 1000;
    bool operator<(const Life& other) const {
      return std::tie(component, from) < std::tie(other.component, other.from);
    }
    [[nodiscard]] bool holds(int epoch) const { return from <= epoch && epoch < until; }
  };

  /// A mode and when its component's life began.
  using Present = std::pair<Index, int>;

  void add_lives(Index component) {
    Life life{component};
    for (const auto& repair : evidence_.repairs) {
      if (repair.component != component) continue;
      life.until = repair.epoch;
      able_.push_back(life);
      life = {component, repair.epoch};
    }
    able_.push_back(life);
  }

  bool repaired(Index component) const {
    return std::any_of(evidence_.repairs.begin(), evidence_.repairs.end(),
                       [&](const auto& repair) { return repair.component == component; });
  }

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
  double chance(const Life& life, Index mode, const Event* event) const {
    const auto c = life.component;
    const auto& component = corner_.vehicle().components[at(c)];
    double failed = 0;
    double damaged = 0;
    for (const auto m : component.modes) {
      failed += priors_[at(m)];
      if (event != nullptr && event->harm.contains(m)) damaged += event->harm.at(m);
    }
    double p = mode < 0 ? (1 - failed) * (1 - damaged) : (1 - damaged) * priors_[at(mode)];
    if (mode >= 0 && event != nullptr && event->harm.contains(mode)) p += event->harm.at(mode);
    if (life.from > 0) {
      const auto& repair = corner_.rates().repair;
      const bool setting = component.type == vehicle::Component::Type::setting;
      const double defect = setting ? repair.left_wrong : repair.defect;
      p = mode < 0 ? 1 - defect : defect * priors_[at(mode)] / failed;
    }
    const double seen =
        mode < 0 ? component.look_false_alarm : corner_.vehicle().modes[at(mode)].seen;
    for (const auto& e : evidence_.entries)
      if (e.type == Entry::Type::look && e.informative() && e.component == c &&
          life.holds(e.epoch)) {
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
        for (const auto& life : able_)
          if (life.from == 0 && bundle.members.contains(life.component))
            product *= chance(life, mode_of(life), &event);
        sum += product;
      }
      for (const auto c : bundle.members) done.insert(c);
      p *= sum;
    }
    for (const auto& life : able_)
      if (life.from > 0 || !done.contains(life.component))
        p *= chance(life, mode_of(life), nullptr);
    return p;
  }

  Index mode_of(const Life& life) const {
    const auto found = chosen_.find(life);
    return found == chosen_.end() ? vehicle::none : found->second;
  }

  /// What is there in an epoch. Of two faults on one wire the graver one counts; what was repaired, or
  /// ends where its wire was, is added up.
  std::vector<Present> effective(int epoch) const {
    const auto& components = corner_.vehicle().components;
    std::map<std::pair<int, Index>, Present> by_place;
    for (const auto& [life, m] : chosen_) {
      if (!life.holds(epoch)) continue;
      const auto c = life.component;
      const auto wire =
          components[at(c)].type == Component::Type::termination ? components[at(c)].wire : c;
      std::pair<int, Index> place{0, wire};
      if (repaired(c)) {
        place = {1, c};
      } else if (repaired(wire)) {
        place = {2, wire};
      }
      auto [entry, added] = by_place.emplace(place, Present{m, life.from});
      if (!added && rank(m) > rank(entry->second.first)) entry->second = {m, life.from};
    }
    std::vector<Present> list;
    for (const auto& [place, present] : by_place) list.push_back(present);
    return list;
  }

  int last_epoch() const { return evidence_.repairs.empty() ? 0 : evidence_.repairs.back().epoch; }

  std::int32_t rank(Index mode) const { return corner_.space().cells_of(mode).front().fault; }

  std::vector<EntryProbability> predicted(const std::vector<Index>& modes) {
    std::vector<EntryProbability> p(forecast_.entry_count());
    forecast_.evaluate(circuit::overrides_of(corner_.space().circuit(), modes), p,
                       circuit::settings_of(corner_.vehicle(), modes));
    return p;
  }

  double likelihood() {
    std::vector<std::vector<Present>> by_epoch;
    for (int epoch = 0; epoch <= last_epoch(); ++epoch) by_epoch.push_back(effective(epoch));
    const auto known = likelihoods_.find(by_epoch);
    if (known != likelihoods_.end()) return known->second;
    std::set<Present> found;
    for (const auto& list : by_epoch)
      for (const auto& present : list)
        if (corner_.vehicle().modes[at(present.first)].intermittent()) found.insert(present);
    const std::vector<Present> coming(found.begin(), found.end());
    std::vector<std::vector<EntryProbability>> by_mask;
    for (std::size_t mask = 0; mask < std::size_t{1} << coming.size(); ++mask) {
      std::vector<EntryProbability> all(forecast_.entry_count());
      for (std::size_t epoch = 0; epoch < by_epoch.size(); ++epoch) {
        auto active = by_epoch[epoch];
        for (std::size_t i = 0; i < coming.size(); ++i)
          if (((mask >> i) & 1U) == 0) std::erase(active, coming[i]);
        std::vector<Index> modes;
        for (const auto& present : active) modes.push_back(present.first);
        const auto p = predicted(modes);
        for (std::size_t e = 0; e < all.size(); ++e)
          if (forecast_.entries()[e].epoch == static_cast<int>(epoch)) all[e] = p[e];
      }
      by_mask.push_back(std::move(all));
    }
    std::vector<double> duty(coming.size());
    const double value = integrate(coming, 0, duty, by_mask);
    likelihoods_[by_epoch] = value;
    return value;
  }

  /// The mean over the Beta distributions, one fault after another.
  double integrate(const std::vector<Present>& coming, std::size_t i, std::vector<double>& duty,
                   const std::vector<std::vector<EntryProbability>>& by_mask) {
    if (i == coming.size()) return at_duty(duty, by_mask);
    const auto& beta = corner_.vehicle().modes[at(coming[i].first)].duty;
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

  /// Per visit: the same state throughout, or every moment drawn anew; what has no moment has one of its own.
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
    std::map<std::pair<int, std::string>, std::vector<double>> moments;
    for (std::size_t e = 0; e < forecast_.entry_count(); ++e) {
      const auto& entry = forecast_.entries()[e];
      alike.try_emplace(entry.visit, std::vector<double>(by_mask.size(), 1));
      auto& moment = moments[{entry.visit, entry.moment.empty() ? entry.id : entry.moment}];
      moment.resize(by_mask.size(), 1);
      for (std::size_t mask = 0; mask < by_mask.size(); ++mask) {
        moment[mask] *= by_mask[mask][e].total;
        alike[entry.visit][mask] *= by_mask[mask][e].total;
      }
    }
    for (const auto& [key, product] : moments) {
      double mean = 0;
      for (std::size_t mask = 0; mask < by_mask.size(); ++mask)
        mean += weight[mask] * product[mask];
      apart.try_emplace(key.first, 1.0).first->second *= mean;
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
      for (const auto m : corner_.vehicle().components[at(able_[i].component)].modes) {
        chosen_[able_[i]] = m;
        visit(i + 1);
        chosen_.erase(able_[i]);
      }
      return;
    }
    const double p = prior();
    if (p <= 0) return;
    std::set<Index> now;
    for (const auto& present : effective(last_epoch())) now.insert(present.first);
    const double weight = p * likelihood();
    whole_ += weight;
    bool sound = true;
    for (const auto& [life, m] : chosen_) {
      if (life.holds(last_epoch())) {
        result.modes[at(m)] += weight;
        sound = false;
      }
      for (std::size_t r = 0; r < evidence_.repairs.size(); ++r)
        if (life.component == evidence_.repairs[r].component &&
            life.until == evidence_.repairs[r].epoch)
          result.was_faulty[r] += weight;
    }
    if (sound) result.no_fault += weight;
    result.sets[now] += weight;
  }

  const Corner& corner_;
  const belief::Evidence& evidence_;
  std::size_t most_;
  circuit::Solver solver_;
  readings::Forecast forecast_;
  std::vector<double> priors_;
  std::vector<Life> able_;
  std::vector<Bundle> bundles_;
  std::map<Life, Index> chosen_;
  std::map<std::vector<std::vector<Present>>, double> likelihoods_;
  double whole_ = 0;
};

}  // namespace

Exact enumerate(const Corner& corner, const belief::Evidence& evidence, std::size_t most_faults) {
  return Enumeration(corner, evidence, most_faults).result;
}

}  // namespace faultloom::test
