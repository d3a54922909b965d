#pragma once

#include <array>
#include <cstdint>
#include <faultloom/base/progress.hpp>
#include <faultloom/belief/faults.hpp>
#include <faultloom/circuit/solver.hpp>
#include <faultloom/readings/response.hpp>
#include <map>
#include <span>
#include <string>
#include <unordered_map>
#include <vector>

namespace faultloom::fleet {

using vehicle::Index;

/// What every single fault of a vehicle shows in each way of taking a reading or sign, solved once.
///
/// A test is an entry less its outcome. Faults that show the same in it, to a hundredth of the instrument's
/// standard deviation, are of one class. What a test's classes are depends on the test alone, not on what
/// was asked before. One per thread; keeps references to its arguments.
class TestTable {
 public:
  TestTable(const belief::FaultSpace& space, const readings::InstrumentSet& instruments);

  /// Classes are numbered by hypothesis; that of the sound vehicle is 0.
  using Class = std::uint16_t;
  /// What an instrument sees: the port properly read, at two neighbours, before the last control moved.
  using View = std::array<std::int32_t, 4>;

  /// Number of the test of a reading or sign. New ones are there after the next fill().
  std::int32_t number(const readings::Entry& entry);
  /// Solves every fault in the states of the tests that are new.
  /// O(faults x (states + ports)). @throws Error cancelled  the new tests are then still to be filled
  void fill(const Progress& progress = {});
  [[nodiscard]] std::size_t size() const noexcept { return tests_.size(); }
  [[nodiscard]] std::size_t new_tests() const noexcept { return waiting_.size(); }

  /// Class by fault; of a test that is filled in.
  [[nodiscard]] const std::vector<Class>& classes(std::int32_t test) const {
    return tests_[static_cast<std::size_t>(test)].class_of;
  }
  /// By class: of two faults at once, the one with the greater number is what shows. An open circuit hides
  /// what else there is behind it, so the lower voltage, the higher resistance and the missing sign come
  /// first; 0 for the sound vehicle.
  [[nodiscard]] const std::vector<double>& dominance(std::int32_t test) const {
    return tests_[static_cast<std::size_t>(test)].dominance;
  }

  /// P(outcome | class) of an entry, as Forecast has it.
  struct Row {
    double anything = 0;  ///< under a cause that nothing describes, see Forecast::group_anything()
    std::vector<double> share;  ///< by class; both relative to the most it can be over all circuits
  };
  /// Valid until tidy().
  [[nodiscard]] const Row& row(std::int32_t number, const readings::Entry& entry);
  /// Forgets rows and pairs if there are many.
  void tidy();
  /// The same for two faults at once, solved when first asked for.
  [[nodiscard]] double share_of_both(std::int32_t number, const readings::Entry& entry,
                                     std::pair<std::int32_t, std::int32_t> faults);
  [[nodiscard]] std::size_t solved() const { return pairs_.size(); }

 private:
  struct Test {
    readings::Entry entry;
    circuit::Stage stage = vehicle::none;
    circuit::Stage before = vehicle::none;
    std::vector<Index> near;
    std::vector<View> views;        ///< by class
    std::vector<Class> class_of;    ///< by fault
    std::vector<double> dominance;  ///< by class
  };
  /// How an instrument's ports are cut into steps.
  struct Scale {
    double relative = 0;
    double absolute = 1;
  };
  struct Asked {
    std::int32_t test;
    int outcome;
    double number;
    double tolerance;
    friend bool operator==(const Asked&, const Asked&) = default;
  };
  struct AskedHash {
    std::size_t operator()(const Asked& asked) const noexcept;
  };
  class Forecaster;

  [[nodiscard]] Test planned(const readings::Entry& entry);
  [[nodiscard]] std::int32_t code(const Test& test, Index red);
  [[nodiscard]] readings::Thevenin port_of(const readings::Entry& entry, std::int32_t code) const;
  [[nodiscard]] double dominance_of(const Test& test, const View& view) const;
  void read(const Test& test, bool before, View& view);
  void begin(std::span<const std::int32_t> faults);

  const belief::FaultSpace* space_;
  const readings::InstrumentSet* instruments_;
  circuit::Solver solver_;
  std::vector<Scale> scales_;  ///< by instrument
  std::vector<Test> tests_;
  std::map<std::string, std::int32_t, std::less<>> number_of_;
  std::vector<std::int32_t> waiting_;
  std::unordered_map<Asked, Row, AskedHash> rows_;
  std::unordered_map<std::uint64_t, View> pairs_;  ///< by test and two faults
  circuit::Overrides overrides_;
  std::vector<circuit::Setting> settings_;
};

}  // namespace faultloom::fleet
