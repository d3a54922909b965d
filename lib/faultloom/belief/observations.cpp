#include <faultloom/belief/observations.hpp>

#include <algorithm>
#include <array>
#include <cstring>
#include <map>
#include <string_view>
#include <tuple>

namespace faultloom::belief {
namespace {

using readings::Entry;

auto content(const Entry& e) {
  return std::tie(e.epoch, e.type, e.state, e.lifted_elements, e.bridged_elements, e.instrument,
                  e.red, e.black, e.element, e.sign, e.visit, e.provocation, e.provoked_zone,
                  e.outcome, e.number, e.tolerance, e.id);
}

std::string key_of(const readings::Forecast& forecast, std::size_t group) {
  std::string key;
  const auto add = [&](const auto& value) {
    std::array<char, sizeof(value)> bytes;
    std::memcpy(bytes.data(), &value, sizeof(value));
    key.append(bytes.data(), bytes.size());
  };
  for (const auto i : forecast.group(group)) {
    const auto& e = forecast.entries()[i];
    add(e.type);
    add(e.instrument);
    add(e.red);
    add(e.black);
    add(e.element);
    add(e.sign);
    add(e.outcome);
    add(e.number);
    add(e.tolerance);
    add(e.state.size());
    for (const auto position : e.state) add(position);
    add(e.lifted_elements.size());
    for (const auto lifted : e.lifted_elements) add(lifted);
    for (const auto bridged : e.bridged_elements) add(bridged);
    key += '|';
  }
  return key;
}

}  // namespace

Observations::Observations(circuit::Solver& solver, const readings::InstrumentSet& instruments,
                           std::span<const Entry> entries) {
  for (std::size_t i = 0; i < entries.size(); ++i)
    if (entries[i].informative() &&
        (entries[i].type == Entry::Type::reading || entries[i].type == Entry::Type::sign))
      given_.push_back(i);
  std::sort(given_.begin(), given_.end(), [&](std::size_t a, std::size_t b) {
    return content(entries[a]) < content(entries[b]);
  });
  std::vector<Entry> electrical;
  for (const auto i : given_) electrical.push_back(entries[i]);
  forecast_ = std::make_unique<readings::Forecast>(solver, instruments, std::move(electrical));
  for (std::size_t g = 0; g < group_count(); ++g) keys_.push_back(key_of(*forecast_, g));
  find_companions();
}

void Observations::find_companions() {
  const auto& entries = forecast_->entries();
  companions_.resize(entries.size());
  std::map<std::string_view, Companion> telling;  // by moment
  for (std::size_t g = 0; g < group_count(); ++g) {
    const auto& members = forecast_->group(g);
    for (std::size_t i = 0; i < members.size(); ++i)
      if (const auto& e = entries[members[i]]; !e.moment.empty() && e.id != e.moment)
        telling.emplace(e.moment, Companion{g, i});
  }
  for (std::size_t i = 0; i < entries.size(); ++i) {
    if (entries[i].moment.empty() || entries[i].id != entries[i].moment) continue;
    if (const auto found = telling.find(entries[i].moment); found != telling.end())
      companions_[i] = found->second;
  }
}

std::vector<std::optional<Observations::Companion>> Observations::companions(
    std::size_t group) const {
  std::vector<std::optional<Companion>> list;
  for (const auto i : forecast_->group(group)) list.push_back(companions_[i]);
  return list;
}

bool Observations::told_when(std::size_t group) const {
  const auto& members = forecast_->group(group);
  return std::any_of(members.begin(), members.end(),
                     [&](std::size_t i) { return companions_[i].has_value(); });
}

}  // namespace faultloom::belief
