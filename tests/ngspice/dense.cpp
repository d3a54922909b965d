#include "ngspice/dense.hpp"

#include <cmath>
#include <limits>
#include <utility>

namespace faultloom::witness {
namespace {

static_assert(std::numeric_limits<long double>::digits >= 64,
              "extended precision is the point of this");

using Row = std::vector<long double>;

std::size_t at(vehicle::Index i) { return static_cast<std::size_t>(i); }

/// Nodal equations, one row per terminal with the right-hand side last; the datum's row says "0 V".
std::vector<Row> equations(const vehicle::Vehicle& vehicle, const std::vector<Part>& parts) {
  const auto n = vehicle.terminals.size();
  std::vector<Row> rows(n, Row(n + 1, 0));
  for (std::size_t t = 0; t < n; ++t)
    rows[t][t] += 1 / static_cast<long double>(vehicle.terminals[t].leakage_ohm);
  for (std::size_t e = 0; e < parts.size(); ++e) {
    if (!parts[e].conducts) continue;
    const auto a = at(vehicle.elements[e].a);
    const auto b = at(vehicle.elements[e].b);
    const long double siemens = 1 / static_cast<long double>(parts[e].ohm);
    rows[a][a] += siemens;
    rows[b][b] += siemens;
    rows[a][b] -= siemens;
    rows[b][a] -= siemens;
    rows[a][n] += siemens * parts[e].emf_volt;
    rows[b][n] -= siemens * parts[e].emf_volt;
  }
  auto& datum = rows[at(vehicle.datum)];
  datum.assign(n + 1, 0);
  datum[at(vehicle.datum)] = 1;
  return rows;
}

void eliminate_below(std::vector<Row>& rows, std::size_t k) {
  std::size_t pivot = k;
  for (std::size_t i = k + 1; i < rows.size(); ++i)
    if (std::abs(rows[i][k]) > std::abs(rows[pivot][k])) pivot = i;
  std::swap(rows[k], rows[pivot]);
  for (std::size_t i = k + 1; i < rows.size(); ++i) {
    if (rows[i][k] == 0) continue;
    const long double factor = rows[i][k] / rows[k][k];
    for (std::size_t j = k + 1; j < rows[i].size(); ++j)
      if (rows[k][j] != 0) rows[i][j] -= factor * rows[k][j];
  }
}

}  // namespace

std::vector<double> dense_volts(const vehicle::Vehicle& vehicle, const std::vector<Part>& parts) {
  auto rows = equations(vehicle, parts);
  const auto n = rows.size();
  for (std::size_t k = 0; k < n; ++k) eliminate_below(rows, k);
  Row volts(n, 0);
  for (std::size_t k = n; k-- > 0;) {
    long double sum = rows[k][n];
    for (std::size_t j = k + 1; j < n; ++j) sum -= rows[k][j] * volts[j];
    volts[k] = sum / rows[k][k];
  }
  return {volts.begin(), volts.end()};
}

}  // namespace faultloom::witness
