#pragma once

#include <algorithm>
#include <array>
#include <compare>
#include <cstdint>
#include <faultloom/advice/answer_book.hpp>
#include <map>
#include <utility>
#include <vector>

/// What every fault answers to every available test.
namespace faultloom::advice {

[[nodiscard]] inline bool contains(std::span<const Index> list, Index value) {
  return std::find(list.begin(), list.end(), value) != list.end();
}

/// A state in which tests are made.
struct Situation {
  vehicle::ControlState positions;
  std::vector<Index> lifted;
  bool isolated = false;
  circuit::Stage stage = vehicle::none;
  int lift = 0;  ///< number of the set of lifted ends
};

/// Sum of mixed items: 128 bits, free of order, and an item can be taken out again.
struct AnswerHash {
  std::uint64_t a = 0;
  std::uint64_t b = 0;
  static AnswerHash of(std::uint64_t place, std::uint64_t value) {
    const auto first = mixed(place * 0x100000001b3U + mixed(value));
    return {first, mixed(first ^ mixed(place + 0x5bd1e995U) ^ value)};
  }
  void add(const AnswerHash& other) { a += other.a, b += other.b; }
  void remove(const AnswerHash& other) { a -= other.a, b -= other.b; }
  friend auto operator<=>(const AnswerHash&, const AnswerHash&) = default;  // NOLINT
};

/// A network that others are described against.
struct Reference {
  std::vector<circuit::Thevenin> ports;  ///< by place
  std::vector<std::uint32_t> answers;    ///< by slot
  AnswerHash exact;                      ///< over answers
  AnswerHash likely;                     ///< over most probable outcomes
};

/// What a fault shows in one network, as far as it differs from the reference.
struct Network {
  std::size_t reference = 0;
  std::vector<std::pair<std::uint32_t, std::uint32_t>> changed;  ///< slot, answer
};

/// Everything that one fault, or several just alike, shows.
struct FaultRow {
  std::vector<Network> networks;
  std::vector<std::uint32_t> network_of;  ///< by situation
  std::vector<std::uint8_t> signs;        ///< readings::SignTruth by situation and sign
  std::vector<std::uint32_t> looks;       ///< answers by component looked at
  AnswerHash exact;
  AnswerHash likely;
  std::vector<std::int32_t> faults;  ///< -1: the healthy vehicle
};

/// Makes every test that a reach allows on one fault after another.
class FaultAnswers {
 public:
  /// @throws Error argument  an instrument or zone that does not exist
  FaultAnswers(const belief::FaultSpace& space, circuit::Solver& solver,
               const readings::InstrumentSet& set, AnswerBook& book, Reach reach);

  /// Situations without a lifted wire end.
  [[nodiscard]] std::vector<Situation> ordinary() const;
  /// One situation for each contact state of the healthy vehicle.
  [[nodiscard]] std::vector<Situation> few();

  /// Answers in these situations: row 0 is the healthy vehicle, faults with equal answers share a row.
  /// Forgets what was collected before.
  void collect(std::span<const std::int32_t> faults, std::vector<Situation> situations,
               const Progress& progress);

  [[nodiscard]] const std::vector<Situation>& situations() const { return situations_; }
  [[nodiscard]] const std::vector<FaultRow>& rows() const { return rows_; }
  [[nodiscard]] const Reference& reference(std::size_t number) const { return references_[number]; }
  /// Number of instruments times places.
  [[nodiscard]] std::size_t slot_count(bool isolated) const {
    return sites_[isolated ? 1 : 0].instruments.size();
  }
  [[nodiscard]] std::size_t look_count() const { return looked_at_.size(); }

  [[nodiscard]] const belief::FaultSpace& space() const { return *space_; }
  [[nodiscard]] const readings::InstrumentSet& instruments() const { return *set_; }
  [[nodiscard]] AnswerBook& book() { return *book_; }

  [[nodiscard]] bool accessible(Index zone) const;
  /// Whether one of the wire's ends can be taken off.
  [[nodiscard]] bool wire_accessible(const vehicle::Wire& wire) const;
  /// P("damage" | look at the component, fault); -1: the healthy vehicle.
  [[nodiscard]] double seen(Index component, std::int32_t fault) const;

 private:
  /// Where probes are put: red to the datum, across an element, or a clamp round it.
  struct Place {
    Index red = vehicle::none;
    Index element = vehicle::none;
    bool clamp = false;
    std::size_t slots_end = 0;  ///< its slots begin where those of the place before end
  };
  /// Where instruments are put with the circuit live, or with the pack isolated.
  struct Sites {
    std::vector<Place> places;
    std::vector<std::size_t> instruments;  ///< by slot: an instrument at a place
  };

  [[nodiscard]] bool touchable(Index terminal) const;
  [[nodiscard]] bool usable(const readings::Instrument& instrument, Index red) const;
  void make_sites(bool isolated);
  void add_place(Sites& sites, Place place, bool isolated) const;
  void prepare();
  [[nodiscard]] FaultRow look_at(std::int32_t fault);
  void read_signs(FaultRow& row);
  [[nodiscard]] std::size_t network(const Situation& situation, FaultRow& row,
                                    std::vector<std::pair<AnswerHash, AnswerHash>>& hashes);
  [[nodiscard]] std::size_t reference_for(const Situation& situation);
  void take_ports(const Sites& sites);

  const belief::FaultSpace* space_;
  circuit::Solver* solver_;
  const readings::InstrumentSet* set_;
  AnswerBook* book_;
  Reach reach_;
  std::array<Sites, 2> sites_;  ///< live, isolated
  std::vector<Index> looked_at_;
  const circuit::Overrides nothing_;

  std::vector<Situation> situations_;
  std::map<circuit::Stage, std::size_t> place_of_;  ///< live situations by stage
  std::map<std::pair<int, Bits>, std::size_t> reference_of_;
  std::vector<Reference> references_;
  std::vector<FaultRow> rows_;

  // work space
  std::vector<double> volt_;
  std::vector<double> ohm_;
  std::vector<double> element_ohm_;
  std::vector<circuit::Thevenin> ports_;  ///< by place
};

}  // namespace faultloom::advice
