#pragma once

#include <faultloom/documents/job_reader.hpp>
#include <faultloom/documents/model.hpp>
#include <faultloom/rates/rates.hpp>

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace faultloom::documents {

/// A closed job of a history, with its names resolved.
struct PastJob {
  std::string id;
  std::size_t model = 0;  ///< index into the models given
  Job job;                ///< its entries as of faultloom.job
  std::string verdict;
  bool is_confirmed = false;
  /// What was seen to be wrong: for each failure the modes it may have been, of one component. Empty with
  /// is_confirmed: nothing was wrong.
  std::vector<std::vector<vehicle::Index>> confirmed;
};

/// Hours without a failure.
struct RunningTime {
  std::size_t model = 0;
  rates::Exposure exposure;
};

struct History {
  std::string title;
  bool only_broken_seen = false;
  std::vector<PastJob> jobs;
  std::vector<RunningTime> running;
};

/// Reads a document of format faultloom.history about vehicles of these models.
///
/// @throws Error  with every problem found, in all jobs: first text and schema; then those of read_job() with
///         the job's place before theirs, vehicles without a model, unknown environments and modes
///         (reference), a job named twice or two failures of one component (duplicate)
/// Complexity: as read_job() for each job.
[[nodiscard]] History read_history(std::string_view text, std::span<const Model* const> models);

/// Checks text and schema alone, the entries of each job included. Appends what is wrong.
void check_history(std::string_view text, std::vector<Problem>& problems);

}  // namespace faultloom::documents
