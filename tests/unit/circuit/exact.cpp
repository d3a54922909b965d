#include "unit/circuit/exact.hpp"

#include <numeric>

namespace faultloom::exact {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

}  // namespace

Network::Network(std::int32_t node_count, std::span<const circuit::Branch> branches,
                 const circuit::BranchValues& values, std::span<const double> leakage_siemens)
    : rows_(at(node_count), Vector(at(node_count), Real(0))), injected_(at(node_count), Real(0)) {
  for (std::size_t i = 0; i < rows_.size(); ++i) rows_[i][i] = leakage_siemens[i];
  for (std::size_t k = 0; k < branches.size(); ++k) {
    const auto [a, b, may_have_emf] = branches[k];
    const Real siemens = values.siemens[k];
    const Real ampere = may_have_emf ? values.ampere[k] : 0.0;
    if (a >= 0) rows_[at(a)][at(a)] += siemens;
    if (b >= 0) rows_[at(b)][at(b)] += siemens;
    if (a >= 0) injected_[at(a)] += ampere;
    if (b >= 0) injected_[at(b)] -= ampere;
    if (a < 0 || b < 0) continue;
    rows_[at(a)][at(b)] -= siemens;
    rows_[at(b)][at(a)] -= siemens;
  }
  factorise();
}

void Network::factorise() {
  const auto n = rows_.size();
  order_.resize(n);
  std::iota(order_.begin(), order_.end(), std::size_t{0});
  for (std::size_t k = 0; k < n; ++k) {
    std::size_t pivot = k;
    for (std::size_t i = k + 1; i < n; ++i)
      if (abs(rows_[i][k]) > abs(rows_[pivot][k])) pivot = i;
    std::swap(rows_[k], rows_[pivot]);
    std::swap(order_[k], order_[pivot]);
    const Real inverse = 1 / rows_[k][k];
    for (std::size_t i = k + 1; i < n; ++i) {
      if (rows_[i][k].is_zero()) continue;
      rows_[i][k] *= inverse;
      for (std::size_t j = k + 1; j < n; ++j)
        if (!rows_[k][j].is_zero()) rows_[i][j] -= rows_[i][k] * rows_[k][j];
    }
  }
}

Vector Network::solve(const Vector& current) const {
  const auto n = rows_.size();
  Vector x(n);
  for (std::size_t i = 0; i < n; ++i) {
    x[i] = current[order_[i]];
    for (std::size_t j = 0; j < i; ++j)
      if (!rows_[i][j].is_zero()) x[i] -= rows_[i][j] * x[j];
  }
  for (std::size_t i = n; i-- > 0;) {
    for (std::size_t j = i + 1; j < n; ++j)
      if (!rows_[i][j].is_zero()) x[i] -= rows_[i][j] * x[j];
    x[i] /= rows_[i][i];
  }
  return x;
}

Real Network::resistance(std::int32_t a, std::int32_t b) const {
  Vector current(rows_.size(), Real(0));
  if (a >= 0) current[at(a)] += 1;
  if (b >= 0) current[at(b)] -= 1;
  const auto volts = solve(current);
  return (a >= 0 ? volts[at(a)] : Real(0)) - (b >= 0 ? volts[at(b)] : Real(0));
}

VehicleNetwork network_of(const vehicle::Vehicle& vehicle) {
  VehicleNetwork network;
  for (std::size_t t = 0; t < vehicle.terminals.size(); ++t) {
    const bool is_datum = static_cast<vehicle::Index>(t) == vehicle.datum;
    network.node_of.push_back(is_datum ? -1
                                       : static_cast<std::int32_t>(network.leakage_siemens.size()));
    if (!is_datum) network.leakage_siemens.push_back(1 / vehicle.terminals[t].leakage_ohm);
  }
  for (const auto& element : vehicle.elements)
    network.branches.push_back(
        {network.node_of[at(element.a)], network.node_of[at(element.b)], true});
  return network;
}

}  // namespace faultloom::exact
