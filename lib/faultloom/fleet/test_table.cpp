#include <faultloom/fleet/test_table.hpp>

#include <algorithm>
#include <bit>
#include <boost/container_hash/hash.hpp>
#include <cmath>
#include <cstring>
#include <faultloom/base/error.hpp>
#include <faultloom/readings/forecast.hpp>

namespace faultloom::fleet {
namespace {

using readings::Entry;
using readings::Instrument;
using readings::Outcome;
using readings::SignTruth;
using readings::Thevenin;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Share of a standard deviation that ports of one code are apart at most.
constexpr double step = 0.02;
/// Steps of the share that insulation has in what a voltmeter sees of a source; they follow its volts in a code,
/// and the steps of its spread follow these.
constexpr std::int32_t insulation_steps = 128;
constexpr readings::SpreadSteps spreads{0.005, 1.08, 127};
constexpr std::int32_t spread_steps = spreads.most + 1;  // zero is one of them
constexpr std::int32_t most_volt_steps = 1 << 16;
/// No neighbour, or no state before.
constexpr std::int32_t nothing = std::numeric_limits<std::int32_t>::min();
/// Rows of likelihoods kept; each has some hundred numbers.
constexpr std::size_t most_rows = 50000;
constexpr std::size_t most_pairs = 2000000;

/// Rounded down.
constexpr std::int32_t quotient(std::int32_t number, std::int32_t divisor) {
  return (number - ((number % divisor) + divisor) % divisor) / divisor;
}

template <typename Value>
void add_bytes(std::string& key, const Value& value) {
  std::array<char, sizeof(Value)> bytes;
  std::memcpy(bytes.data(), &value, sizeof(Value));
  key.append(bytes.data(), bytes.size());
}

template <typename Value>
void add_list(std::string& key, const std::vector<Value>& list) {
  add_bytes(key, list.size());
  for (const auto& value : list) add_bytes(key, value);
}

std::string key_of(const Entry& entry) {
  std::string key;
  add_bytes(key, entry.type);
  add_bytes(key, entry.instrument);
  add_bytes(key, entry.red);
  add_bytes(key, entry.black);
  add_bytes(key, entry.element);
  add_bytes(key, entry.sign);
  add_list(key, entry.state);
  add_list(key, entry.lifted_elements);
  add_list(key, entry.bridged_elements);
  return key;
}

/// Of this type an instrument goes by the resistance, and whether there is a voltage.
bool reads_ohms(Instrument::Type type) {
  return type == Instrument::Type::ohmmeter || type == Instrument::Type::beeper;
}

}  // namespace

std::size_t TestTable::AskedHash::operator()(const Asked& asked) const noexcept {
  std::size_t seed = at(asked.test);
  boost::hash_combine(seed, asked.outcome);
  boost::hash_combine(seed, std::bit_cast<std::uint64_t>(asked.number));
  boost::hash_combine(seed, std::bit_cast<std::uint64_t>(asked.tolerance));
  return seed;
}

TestTable::TestTable(const belief::FaultSpace& space, const readings::InstrumentSet& instruments)
    : space_(&space), instruments_(&instruments), solver_(space.circuit()) {
  for (const auto& instrument : instruments.instruments) {
    // The spread is sqrt(absolute^2 + (relative * value)^2); two of its values tell both.
    constexpr double far = 1e5;
    auto plain = instrument;
    plain.resistance_ohm = 1e30;
    const auto sigma = [&](double value) {
      const Thevenin port = reads_ohms(instrument.type) ? Thevenin{0, value} : Thevenin{value, 0};
      return readings::shown(instruments, plain, port).sigma;
    };
    const double absolute = sigma(0);
    scales_.push_back(
        {std::sqrt(std::max(0.0, sigma(far) * sigma(far) - absolute * absolute)) / far, absolute});
  }
}

std::int32_t TestTable::number(const Entry& entry) {
  const auto [known, added] =
      number_of_.try_emplace(key_of(entry), static_cast<std::int32_t>(tests_.size()));
  if (!added) return known->second;
  try {
    tests_.push_back(planned(entry));
    waiting_.push_back(known->second);
  } catch (...) {
    number_of_.erase(known);
    tests_.resize(std::min(tests_.size(), number_of_.size()));
    throw;
  }
  return known->second;
}

TestTable::Test TestTable::planned(const Entry& entry) {
  Test test;
  test.entry = entry;
  test.entry.id.clear();
  test.entry.outcome = Outcome::not_sure;
  test.entry.number = test.entry.tolerance = 0;
  test.stage = solver_.stage(entry.state, entry.lifted_elements, entry.bridged_elements);
  test.before = solver_.previous(test.stage);
  if (entry.type == Entry::Type::reading && entry.red != vehicle::none) {
    test.near = readings::neighbours(space_->vehicle(), entry.red);
    std::erase(test.near, entry.black);
  }
  return test;
}

/// The present port in steps: of the volts across a meter or lamp, of ohms, or of amps.
std::int32_t TestTable::code(const Test& test, Index red) {
  const auto& entry = test.entry;
  const auto& instrument = instruments_->instruments[at(entry.instrument)];
  const auto& scale = scales_[at(entry.instrument)];
  const auto stepped = [&](double value) {
    const double u = scale.relative > 0
                         ? std::asinh(value * scale.relative / scale.absolute) / scale.relative
                         : value / scale.absolute;
    return static_cast<std::int32_t>(std::lround(std::clamp(u / step, -5e8, 5e8)));
  };
  const auto port = instrument.type == Instrument::Type::clamp
                        ? readings::clamped(solver_, entry.element)
                        : solver_.spread_port(red, entry.black);
  const auto with_spread = [&](std::int32_t number, double share = 1) {
    return number * spread_steps + spreads.of(share * port.volt_sigma);
  };
  switch (instrument.type) {
    case Instrument::Type::lamp: {
      const double volt = readings::lamp_volt(instrument, port);
      const double light = std::max(readings::lamp_light(instrument, volt), 1e-30);
      return with_spread(static_cast<std::int32_t>(std::lround(std::max(-50.0, std::log(light)) /
                                                               (scale.absolute * step))),
                         port.volt == 0 ? 0 : volt / port.volt);
    }
    case Instrument::Type::voltmeter: {
      const auto volts = std::clamp(stepped(readings::voltmeter_volt(instrument, port)),
                                    -most_volt_steps, most_volt_steps);
      const double share =
          std::max(port.ohm, 0.0) / (std::max(port.ohm, 0.0) + readings::insulation_ohm);
      return with_spread(volts * insulation_steps +
                         static_cast<std::int32_t>(std::lround(share * (insulation_steps - 1))));
    }
    case Instrument::Type::clamp:
      return with_spread(std::clamp(stepped(port.volt), -most_volt_steps, most_volt_steps));
    case Instrument::Type::ohmmeter:
    case Instrument::Type::beeper:
      break;
  }
  const auto shown = readings::shown(*instruments_, instrument, port);
  const bool live = shown.overload && port.ohm <= instrument.full_scale;
  constexpr std::int32_t most_ohm_steps = 1 << 22;
  const auto spread = port.ohm > 0 ? spreads.of(port.ohm_sigma / port.ohm) : 0;
  return (2 * std::min(stepped(port.ohm), most_ohm_steps) + (live ? 1 : 0)) * spread_steps + spread;
}

/// A port that shows what the code stands for.
Thevenin TestTable::port_of(const Entry& entry, std::int32_t code) const {
  const auto& instrument = instruments_->instruments[at(entry.instrument)];
  const auto& scale = scales_[at(entry.instrument)];
  const auto value_of = [&](std::int32_t number) {
    const double u = number * step;
    return scale.relative > 0 ? std::sinh(u * scale.relative) * scale.absolute / scale.relative
                              : u * scale.absolute;
  };
  const auto shown = quotient(code, spread_steps);
  const double sigma = spreads.middle(code - shown * spread_steps);
  if (reads_ohms(instrument.type)) {
    constexpr double live_volt = 1000;
    const double ohm = value_of(shown >> 1);
    return {(shown & 1) != 0 ? live_volt : 0, ohm, 0, sigma * ohm};
  }
  if (instrument.type == Instrument::Type::lamp)
    return {
        instrument.rated_volt * std::exp(shown * scale.absolute * step / instrument.light_exponent),
        0, sigma};
  if (instrument.type == Instrument::Type::clamp) return {value_of(shown), 0, sigma};
  const auto volts = quotient(shown, insulation_steps);
  const double share = std::min(
      0.999, static_cast<double>(shown - volts * insulation_steps) / (insulation_steps - 1));
  const double ohm = readings::insulation_ohm * share / (1 - share);
  return {value_of(volts) * (instrument.resistance_ohm + ohm) / instrument.resistance_ohm, ohm,
          sigma};
}

void TestTable::begin(std::span<const std::int32_t> faults) {
  space_->overrides(faults, overrides_);
  space_->settings(faults, settings_);
  solver_.begin(overrides_, settings_);
}

/// Reads the part of a view that is of the stage, or of the one before; the solver has begun a set.
void TestTable::read(const Test& test, bool before, View& view) {
  const auto stage = before ? test.before : test.stage;
  if (test.entry.type == Entry::Type::sign) {
    const bool on_change = space_->vehicle().signs[at(test.entry.sign)].on_change;
    const auto truth = before && on_change ? SignTruth::absent
                                           : readings::sign_truth(solver_, test.entry.sign, stage);
    view[before ? 3 : 0] = static_cast<std::int32_t>(truth);
    return;
  }
  solver_.enter(stage);
  view[before ? 3 : 0] = code(test, test.entry.red);
  if (before) return;
  for (std::size_t i = 0; i < test.near.size(); ++i) view[i + 1] = code(test, test.near[i]);
}

double TestTable::dominance_of(const Test& test, const View& view) const {
  const auto& sound = test.views.front();
  if (view == sound) return 0;
  if (view[0] == sound[0]) return 0.5;
  constexpr double most = 1e9;  // beyond any code
  if (test.entry.type == Entry::Type::sign) {
    const auto truth = static_cast<SignTruth>(view[0]);
    return truth == SignTruth::absent ? 3 : truth == SignTruth::chatters ? 2 : 1;
  }
  const auto type = instruments_->instruments[at(test.entry.instrument)].type;
  const auto shown = quotient(view[0], spread_steps);
  if (reads_ohms(type)) return most + (shown >> 1);
  if (type == Instrument::Type::lamp) return most - shown;
  return most -
         std::abs(type == Instrument::Type::voltmeter ? quotient(shown, insulation_steps) : shown);
}

void TestTable::fill(const Progress& progress) {
  if (waiting_.empty()) return;
  // By stage, so that each is settled once for a fault; parents come before their children.
  struct Visit {
    circuit::Stage stage;
    bool before;
    std::size_t place;  ///< in waiting_
  };
  std::vector<Visit> visits;
  for (std::size_t i = 0; i < waiting_.size(); ++i) {
    const auto& test = tests_[at(waiting_[i])];
    if (test.before != vehicle::none) visits.push_back({test.before, true, i});
    visits.push_back({test.stage, false, i});
  }
  std::stable_sort(visits.begin(), visits.end(),
                   [](const Visit& a, const Visit& b) { return a.stage < b.stage; });
  const auto count = space_->faults().size();
  std::vector<std::unordered_map<View, Class, boost::hash<View>>> known(waiting_.size());
  std::vector<std::vector<View>> views(waiting_.size());
  std::vector<std::vector<Class>> class_of(waiting_.size(), std::vector<Class>(count));
  std::vector<View> shown(waiting_.size());
  for (std::size_t h = 0; h <= count; ++h) {
    if (h % 64 == 0) report(progress, static_cast<double>(h) / static_cast<double>(count + 1));
    const std::array one{static_cast<std::int32_t>(h) - 1};
    begin(std::span(one).first(h == 0 ? 0 : 1));
    std::fill(shown.begin(), shown.end(), View{nothing, nothing, nothing, nothing});
    for (const auto& visit : visits)
      read(tests_[at(waiting_[visit.place])], visit.before, shown[visit.place]);
    for (std::size_t i = 0; i < waiting_.size(); ++i) {
      const auto [entry, added] =
          known[i].try_emplace(shown[i], static_cast<Class>(views[i].size()));
      if (added) views[i].push_back(shown[i]);
      if (h > 0) class_of[i][h - 1] = entry->second;
    }
  }
  for (std::size_t i = 0; i < waiting_.size(); ++i) {
    auto& test = tests_[at(waiting_[i])];
    test.views = std::move(views[i]);
    test.class_of = std::move(class_of[i]);
    for (const auto& view : test.views) test.dominance.push_back(dominance_of(test, view));
  }
  waiting_.clear();
}

/// Chances of an entry's outcome by view, the mixture that Forecast makes of the ways to read.
class TestTable::Forecaster {
 public:
  Forecaster(TestTable& table, const Test& test, const Entry& entry)
      : table_(table), test_(test), entry_(entry) {
    if (entry.type == Entry::Type::sign) {
      sense_ = &table.instruments_->sense(table.space_->vehicle().signs[at(entry.sign)].sense);
      wrong_state_ = test.before == vehicle::none ? 0 : sense_->wrong_state;
      return;
    }
    instrument_ = &table.instruments_->instruments[at(entry.instrument)];
    const auto& errors = instrument_->errors;
    wrong_neighbour_ = test.near.empty() ? 0 : errors.wrong_neighbour;
    wrong_state_ = test.before == vehicle::none ? 0 : errors.wrong_state;
    const bool clamp = instrument_->type == Instrument::Type::clamp;
    other_ = errors.no_contact * proper(clamp ? Thevenin{} : readings::open_port) +
             errors.gross * readings::gross_probability(*instrument_, entry.outcome);
    proper_ = 1 - errors.no_contact - errors.gross - wrong_neighbour_ - wrong_state_;
  }

  [[nodiscard]] double chance(const View& view) {
    if (sense_ != nullptr) {
      const auto of = [&](std::int32_t truth) {
        return readings::sign_probability(*sense_, entry_.outcome, static_cast<SignTruth>(truth));
      };
      return (1 - wrong_state_) * of(view[0]) + (wrong_state_ > 0 ? wrong_state_ * of(view[3]) : 0);
    }
    double sum = other_ + proper_ * coded(view[0]);
    for (std::size_t i = 0; i < test_.near.size(); ++i)
      sum += wrong_neighbour_ / static_cast<double>(test_.near.size()) * coded(view[i + 1]);
    if (wrong_state_ > 0) sum += wrong_state_ * coded(view[3]);
    return sum;
  }

 private:
  [[nodiscard]] double proper(const Thevenin& port) const {
    return readings::proper_probability(*table_.instruments_, *instrument_, entry_.outcome,
                                        entry_.number, port, entry_.tolerance);
  }
  [[nodiscard]] double coded(std::int32_t code) {
    const auto [known, added] = by_code_.try_emplace(code, 0);
    if (added) known->second = proper(table_.port_of(entry_, code));
    return known->second;
  }

  TestTable& table_;
  const Test& test_;
  const Entry& entry_;
  const Instrument* instrument_ = nullptr;
  const readings::Sense* sense_ = nullptr;
  double proper_ = 0;
  double wrong_neighbour_ = 0;
  double wrong_state_ = 0;
  double other_ = 0;  ///< whatever the circuit does: no contact, gross slips
  std::unordered_map<std::int32_t, double> by_code_;
};

const TestTable::Row& TestTable::row(std::int32_t number, const Entry& entry) {
  const Asked asked{number, static_cast<int>(entry.outcome), entry.number, entry.tolerance};
  if (const auto found = rows_.find(asked); found != rows_.end()) return found->second;
  const auto& test = tests_[at(number)];
  Row row;
  const readings::Forecast forecast(solver_, *instruments_, {entry});
  const double ceiling = forecast.group_ceiling(0);
  row.anything = forecast.group_anything(0, space_->vehicle().nominal_volt) / ceiling;
  Forecaster forecaster(*this, test, entry);
  for (const auto& view : test.views) row.share.push_back(forecaster.chance(view) / ceiling);
  return rows_.emplace(asked, std::move(row)).first->second;
}

void TestTable::tidy() {
  if (rows_.size() >= most_rows) rows_.clear();
  if (pairs_.size() >= most_pairs) pairs_.clear();
}

double TestTable::share_of_both(std::int32_t number, const Entry& entry,
                                std::pair<std::int32_t, std::int32_t> faults) {
  const auto& test = tests_[at(number)];
  const auto [low, high] = std::minmax(faults.first, faults.second);
  const auto key = (static_cast<std::uint64_t>(number) << 40U) +
                   (static_cast<std::uint64_t>(low) << 20U) + static_cast<std::uint64_t>(high);
  const auto [known, added] = pairs_.try_emplace(key);
  if (added) {
    try {
      known->second = {nothing, nothing, nothing, nothing};
      begin(std::array{low, high});
      if (test.before != vehicle::none) read(test, true, known->second);
      read(test, false, known->second);
    } catch (...) {
      pairs_.erase(known);
      throw;
    }
  }
  double ceiling = 1;
  if (entry.type == Entry::Type::reading)
    ceiling = readings::ceiling_probability(*instruments_,
                                            instruments_->instruments[at(entry.instrument)],
                                            entry.outcome, entry.number, entry.tolerance);
  return Forecaster(*this, test, entry).chance(known->second) / ceiling;
}

}  // namespace faultloom::fleet
