#pragma once

#include <faultloom/belief/belief.hpp>
#include <faultloom/documents/model.hpp>
#include <faultloom/documents/model_parts.hpp>

#include <initializer_list>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

/// A shipped vehicle on the bench: readings in names, answers from the vehicle with chosen faults.
namespace faultloom::test {

using vehicle::Index;

/// Control positions that differ from rest.
using Positions = std::vector<std::pair<std::string, std::string>>;

class Bench {
 public:
  /// Loads data/vehicles/ID.json. Throws if anything is wrong with it.
  explicit Bench(const std::string& vehicle_id);

  [[nodiscard]] const vehicle::Vehicle& vehicle() const { return model_.parts().vehicle; }
  [[nodiscard]] const circuit::Circuit& circuit() const { return model_.parts().circuit; }
  [[nodiscard]] const belief::FaultSpace& space() const { return model_.parts().space; }
  [[nodiscard]] const readings::InstrumentSet& instruments() const {
    return model_.parts().instruments;
  }
  [[nodiscard]] const rates::Rates& rates() const { return model_.parts().rates; }
  /// Evidence of the job document data/jobs/ID.json.
  [[nodiscard]] belief::Evidence job(const std::string& job_id) const;

  [[nodiscard]] vehicle::ControlState state(const Positions& positions) const;
  /// The state in which the vehicle should drive, with some controls elsewhere.
  [[nodiscard]] vehicle::ControlState run_state(const Positions& changes = {}) const;
  [[nodiscard]] std::vector<Index> modes(const std::vector<std::string>& names) const;
  [[nodiscard]] Index component(std::string_view id) const;
  [[nodiscard]] Index terminal(std::string_view name) const;

  /// Entries without an outcome.
  [[nodiscard]] readings::Entry reading(std::string_view instrument, std::string_view red,
                                        std::string_view black, vehicle::ControlState state);
  [[nodiscard]] readings::Entry sign(std::string_view part, std::string_view sign,
                                     vehicle::ControlState state);
  [[nodiscard]] readings::Entry look(std::string_view component, readings::Outcome outcome);
  /// The entry with what a flawless hand would note down if exactly these modes were the truth.
  [[nodiscard]] readings::Entry answered(readings::Entry entry,
                                         const std::vector<Index>& truth) const;

 private:
  documents::Model model_;
  int next_id_ = 0;
};

/// The rates with only these kinds able to fail.
[[nodiscard]] rates::Rates only(const rates::Rates& rates,
                                std::initializer_list<const char*> kinds);

/// P(at least one of the components failed): candidates whose faults may stand for several modes count in
/// part.
[[nodiscard]] double any_of(const belief::FaultSpace& space, const belief::Posterior& posterior,
                            const std::vector<Index>& components);

}  // namespace faultloom::test
