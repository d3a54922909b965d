#pragma once

#include <faultloom/report/spice_deck.hpp>

#include <cstddef>
#include <string>
#include <vector>

namespace faultloom::witness {

/// What an element is in the network at hand: a resistance in series with an EMF, or nothing at all.
struct Part {
  bool conducts = false;
  double ohm = 0;
  double emf_volt = 0;

  friend bool operator==(const Part&, const Part&) = default;
};

/// One vehicle loaded into the ngspice of this process; only one may live at a time.
class Spice {
 public:
  explicit Spice(const circuit::Circuit& circuit);
  Spice(const Spice&) = delete;
  Spice& operator=(const Spice&) = delete;
  ~Spice();

  /// Operating point of the network made of these parts (by element): node voltages by terminal [V].
  /// Only what differs from the last call is altered.
  std::vector<double> volts(const std::vector<Part>& parts);

  [[nodiscard]] std::size_t runs() const noexcept { return runs_; }

 private:
  void command(const std::string& text);
  void find_nodes();

  reports::SpiceDeck deck_;
  std::vector<Part> now_;
  std::vector<std::size_t> place_;  ///< by terminal: position among the values ngspice sends
  std::size_t runs_ = 0;
};

}  // namespace faultloom::witness
