#pragma once

#include <faultloom/base/error.hpp>
#include <faultloom/base/progress.hpp>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

/// The library as other software sees it: JSON documents in, JSON documents out, arrays for numbers.
/// The C ABI and the Python package are thin layers over this header.
namespace faultloom::documents {

/// Texts of the documents a model is built from. Empty members stand for the ones the library ships.
struct ModelSources {
  std::string_view vehicle;
  std::string_view kinds;
  std::string_view rates;
  std::string_view instruments;
  std::string_view cautions;
};

/// A vehicle with its rates and instruments, ready to answer. Immutable; any number of threads may use
/// one at a time. Movable, cheap to copy (shared ownership).
class Model {
 public:
  /// @throws Error with every problem of every document; pointers start at the document at fault, and
  ///         messages name it when it is not the vehicle.
  explicit Model(const ModelSources& sources, const Progress& progress = {});

  /// JSON faultloom.summary: id, title, counts of terminals, wires, looms, zones, connectors, modes, and
  /// the lists of controls with positions, terminals, components and modes, in index order.
  [[nodiscard]] std::string summary_json() const;
  /// Lint findings, including modes that change nothing observable. Empty if there are none.
  [[nodiscard]] std::vector<Problem> lint(const Progress& progress = {}) const;

  [[nodiscard]] std::vector<std::string> terminal_names() const;
  [[nodiscard]] std::vector<std::string> mode_names() const;  ///< COMPONENT/mode
  /// Prior probability of each mode, in mode_names() order, for a job document ("" for the defaults).
  [[nodiscard]] std::vector<double> mode_priors(std::string_view job) const;

  /// Voltage of every terminal against pack negative [V], in terminal_names() order.
  /// `situation` is JSON: {"state":{control:position}, "modes":["K1/coil_open"], "lifted":["W7:from"]}.
  [[nodiscard]] std::vector<double> terminal_volts(std::string_view situation) const;
  /// The same situation in full, JSON faultloom.solution: volts, contacts, chatter, signs, currents.
  [[nodiscard]] std::string solve_json(std::string_view situation) const;
  /// The same situation as a SPICE deck.
  [[nodiscard]] std::string spice_deck(std::string_view situation) const;

  /// JSON faultloom.ranking for a job: posterior per component, wire, mode and candidate, misreading
  /// probabilities, decibans, bound. `options` is JSON or "": {"top":20,"bound":0.001,"budget_seconds":0,
  /// "budget_sets":8000}.
  [[nodiscard]] std::string rank_json(std::string_view job, std::string_view options = {},
                                      const Progress& progress = {}) const;
  /// Posterior probability of each mode, in mode_names() order.
  [[nodiscard]] std::vector<double> mode_posteriors(std::string_view job,
                                                    const Progress& progress = {}) const;
  /// JSON faultloom.step: the next step with the least expected cost and its alternatives.
  /// `options`: {"instruments":[..],"closed_zones":[..],"alternatives":3,"allow_live":true}.
  [[nodiscard]] std::string next_json(std::string_view job, std::string_view options = {},
                                      const Progress& progress = {}) const;
  /// JSON faultloom.plan: the advice unrolled to a tree of steps, numbered by how probable they are.
  /// `options` as in next_json(), and {"depth":8,"residual":0.02,"max_steps":60}: steps one after another, the
  /// probability below which a branch is not followed, and steps in all.
  [[nodiscard]] std::string plan_json(std::string_view job, std::string_view options = {},
                                      const Progress& progress = {}) const;
  /// The first steps of the same plan on one A4 page to print, SVG.
  [[nodiscard]] std::string plan_card(std::string_view job, std::string_view options = {},
                                      const Progress& progress = {}) const;
  /// JSON faultloom.explanation: for each entry what was expected under the leading suspects, its weight
  /// for and against each, and whether it looks like a misreading.
  [[nodiscard]] std::string explain_json(std::string_view job, std::string_view options = {},
                                         const Progress& progress = {}) const;

  /// JSON faultloom.ambiguity: groups of present suspects that no available reading tells apart, with what
  /// would split each. `options`: {"instruments":[..],"closed_zones":[..],"allow_live":true,"looks":false,
  /// "lifting":false,"top":10}; without instruments those of the job, without these all.
  [[nodiscard]] std::string ambiguity_json(std::string_view job, std::string_view options = {},
                                           const Progress& progress = {}) const;
  /// JSON faultloom.testability: how far the vehicle's faults can be detected and told apart, weighed by
  /// their priors for the rates' default hours. `options` as in ambiguity_json().
  [[nodiscard]] std::string testability_json(std::string_view options = {},
                                             const Progress& progress = {}) const;

  /// JSON faultloom.verification: what has to be proved after the repairs made, before and after, and what
  /// the entries say of it; what each repair mended; earlier work still there.
  [[nodiscard]] std::string verification_json(std::string_view job,
                                              const Progress& progress = {}) const;
  /// The job document closed. `closing` is JSON {"verdict":"repaired","by":"verification","note":""}.
  /// Repaired, fixed_itself and no_fault_found want every check passed; by "word" those may be open that are
  /// no interlocks. Earlier work that is probably still there stands against them.
  /// @throws Error not_verified  with each thing that stands against it
  [[nodiscard]] std::string close_json(std::string_view job, std::string_view closing,
                                       const Progress& progress = {}) const;

  struct Parts;  ///< the C++ objects behind a model, for the library's own modules
  [[nodiscard]] const Parts& parts() const noexcept { return *parts_; }

 private:
  std::shared_ptr<const Parts> parts_;
};

/// Checks one document of any known format without building a model: schema, references inside it, and
/// lint for vehicles. Never throws for bad input. `kind` is "" to read it from "format".
[[nodiscard]] std::vector<Problem> check_document(std::string_view text,
                                                  std::string_view kinds = {});

/// A wire run list in CSV as the skeleton of a vehicle document (JSON text).
/// @throws Error with every bad row; schema if no wire ends at a part.
[[nodiscard]] std::string vehicle_from_run_list(std::string_view csv, std::string_view vehicle_id);

/// Problems as a JSON array of {"code","number","message","pointer"}.
[[nodiscard]] std::string problems_json(const std::vector<Problem>& problems);

}  // namespace faultloom::documents
