#include <faultloom/advice/outcome_table.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

namespace faultloom::advice {
namespace {

using readings::Instrument;
using readings::Outcome;
using readings::Thevenin;

double below(double edge, const readings::Shown& s) {
  return 0.5 * std::erfc((s.value - edge) / (s.sigma * std::sqrt(2.0)));
}

}  // namespace

OutcomeTable::OutcomeTable(const readings::InstrumentSet& set, int instrument, double nominal_volt)
    : set_(&set), instrument_(&set.instruments[static_cast<std::size_t>(instrument)]) {
  switch (instrument_->type) {
    case Instrument::Type::lamp:
      words_ = {Outcome::bright, Outcome::dim, Outcome::dark};
      break;
    case Instrument::Type::beeper:
      words_ = {Outcome::beep, Outcome::silent};
      break;
    case Instrument::Type::ohmmeter:
      edges_ = {1, 10, 50, 250, 2000, 20000, instrument_->full_scale};
      for (std::size_t i = 0; i < edges_.size(); ++i)
        labels_.push_back(i == 0 ? fmt::format("below {:g} ohm", edges_[0])
                                 : fmt::format("{:g} to {:g} ohm", edges_[i - 1], edges_[i]));
      labels_.emplace_back("overload");
      break;
    case Instrument::Type::clamp:
      edges_ = {0.1, 1, 10, 50};
      for (std::size_t i = 0; i <= edges_.size(); ++i)
        labels_.push_back(i == 0 ? fmt::format("below {:g} A", edges_[0])
                          : i == edges_.size()
                              ? fmt::format("above {:g} A", edges_.back())
                              : fmt::format("{:g} to {:g} A", edges_[i - 1], edges_[i]));
      break;
    case Instrument::Type::voltmeter:
      make_volt_labels(nominal_volt);
      break;
  }
  for (const auto word : words_) labels_.emplace_back(readings::name_of(word));
}

OutcomeTable::Distribution OutcomeTable::mixture(const Distribution& a, const Distribution& b,
                                                 double share) {
  Distribution result{};
  for (std::size_t o = 0; o < result.size(); ++o) result[o] = share * a[o] + (1 - share) * b[o];
  return result;
}

double OutcomeTable::entropy_nat(const Distribution& probabilities) {
  double sum = 0;
  for (const double p : probabilities)
    if (p > 0) sum -= p * std::log(p);
  return sum;
}

void OutcomeTable::make_volt_labels(double nominal_volt) {
  // Drops first (0.1 V joint, 0.3 V switch, 1 V plainly bad), then shares of the pack: the limits that
  // workshop manuals use for a loaded circuit.
  edges_ = {-1,
            0.1,
            0.3,
            1,
            0.12 * nominal_volt,
            0.35 * nominal_volt,
            0.65 * nominal_volt,
            0.87 * nominal_volt};
  for (std::size_t i = 0; i <= edges_.size(); ++i) {
    if (i == 0) {
      labels_.push_back(fmt::format("below {:g} V", edges_[0]));
    } else if (i == 1) {
      labels_.push_back(fmt::format("about 0 V"));
    } else if (i == edges_.size()) {
      labels_.push_back(fmt::format("above {:.0f} V", edges_.back()));
    } else {
      const auto digits = [](double v) {
        return v < 2 ? fmt::format("{:g}", v) : fmt::format("{:.0f}", v);
      };
      labels_.push_back(fmt::format("{} to {} V", digits(edges_[i - 1]), digits(edges_[i])));
    }
  }
}

std::int32_t OutcomeTable::code(const Thevenin& port) {
  // 1/64 V steps above a volt, finer below; resistance in eighths of an e-fold: far below every spread.
  const double magnitude = std::abs(port.volt);
  const double scaled =
      std::copysign(magnitude < 1 ? magnitude * 512 : 512 + (magnitude - 1) * 64, port.volt);
  const double meter =
      instrument_->type == Instrument::Type::voltmeter ? instrument_->resistance_ohm * 1e-4 : 0.01;
  const double source = port.ohm <= meter ? -1 : std::log(port.ohm / meter) * 8;
  const auto volt_steps = static_cast<std::int64_t>(std::lround(scaled));
  const auto ohm_steps = static_cast<std::int64_t>(std::lround(source));
  const auto spread = planning_spreads.of(port.volt_sigma);
  const std::int64_t key = (volt_steps << 24) ^ (std::int64_t{spread} << 20) ^ (ohm_steps + 1);
  const auto [entry, added] = codes_.emplace(key, static_cast<std::int32_t>(distributions_.size()));
  if (!added) return entry->second;
  // The middle of the step stands for all of it, whichever port comes first.
  const auto steps = static_cast<double>(std::abs(volt_steps));
  const double middle = steps < 512 ? steps / 512 : 1 + (steps - 512) / 64;
  const Thevenin rounded{volt_steps < 0 ? -middle : middle,
                         ohm_steps < 0 ? 0 : meter * std::exp(static_cast<double>(ohm_steps) / 8),
                         planning_spreads.middle(spread)};
  const auto& errors = instrument_->errors;
  const double anything = errors.gross + errors.wrong_neighbour + errors.wrong_state;
  const auto right = proper(rounded);
  const auto loose =
      proper(instrument_->type == Instrument::Type::clamp ? Thevenin{} : readings::open_port);
  Distribution mixed{};
  for (std::size_t o = 0; o < labels_.size(); ++o)
    mixed[o] = (1 - anything - errors.no_contact) * right[o] + errors.no_contact * loose[o] +
               anything / static_cast<double>(labels_.size());
  distributions_.push_back(mixed);
  return entry->second;
}

OutcomeTable::Distribution OutcomeTable::proper(const Thevenin& port) const {
  Distribution d{};
  for (std::size_t o = 0; o < words_.size(); ++o)
    d[o] = readings::proper_probability(*set_, *instrument_, words_[o], 0, port);
  if (edges_.empty()) return d;
  auto s = readings::shown(*set_, *instrument_, port);
  if (instrument_->type == Instrument::Type::clamp) s.value = std::abs(s.value);
  if (s.overload) {
    d[labels_.size() - 1] = 1;
    return d;
  }
  double before = 0;
  for (std::size_t o = 0; o < labels_.size(); ++o) {
    const double until = o < edges_.size() ? below(edges_[o], s) : 1;
    d[o] = until - before;
    before = until;
  }
  return d;
}

}  // namespace faultloom::advice
