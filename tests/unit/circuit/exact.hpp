#pragma once

#include <boost/multiprecision/cpp_dec_float.hpp>

#include <faultloom/circuit/circuit.hpp>

#include <cstdint>
#include <span>
#include <utility>
#include <vector>

/// The textbook way to solve a network, with 50 digits: assemble the conductance matrix, factorise it densely
/// with pivoting. Shares nothing with the library but the list of branches.
namespace faultloom::exact {

using Real = boost::multiprecision::number<boost::multiprecision::cpp_dec_float<50>,
                                           boost::multiprecision::et_off>;
using Vector = std::vector<Real>;

class Network {
 public:
  /// Node -1 of a branch is the datum. The conductances are taken as the exact values of the doubles.
  Network(std::int32_t node_count, std::span<const circuit::Branch> branches,
          const circuit::BranchValues& values, std::span<const double> leakage_siemens);

  /// Node voltages [V] that the branches' own EMFs cause.
  [[nodiscard]] Vector volts() const { return solve(injected_); }
  /// Resistance between two nodes [ohm], either of which may be the datum.
  [[nodiscard]] Real resistance(std::int32_t a, std::int32_t b) const;

 private:
  void factorise();
  [[nodiscard]] Vector solve(const Vector& current) const;

  std::vector<Vector> rows_;  ///< after factorise(): multipliers below the diagonal
  std::vector<std::size_t> order_;
  Vector injected_;
};

/// A vehicle's network as some solver has it at the moment; terminals are numbered without the datum.
struct VehicleNetwork {
  std::vector<std::int32_t> node_of;  ///< by terminal, -1 for the datum
  std::vector<circuit::Branch> branches;
  std::vector<double> leakage_siemens;
};
[[nodiscard]] VehicleNetwork network_of(const vehicle::Vehicle& vehicle);

}  // namespace faultloom::exact
