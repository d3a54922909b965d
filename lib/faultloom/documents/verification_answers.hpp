#pragma once

#include <faultloom/advice/verification.hpp>
#include <faultloom/documents/answers.hpp>
#include <string>
#include <string_view>
#include <vector>

/// What has to be proved before a job is closed, and the closing.
namespace faultloom::documents {

/// JSON faultloom.verification. `posterior` is of the whole job.
[[nodiscard]] nlohmann::json verification_json(const AnswerContext& context,
                                               const belief::Posterior& posterior,
                                               const std::vector<advice::Check>& checks);

/// How a job is to be closed.
struct Closing {
  std::string verdict;
  std::string by = "verification";
  std::string note;
};

/// Reads {"verdict":"repaired","by":"verification","note":""}. @throws Error with every problem
[[nodiscard]] Closing read_closing(std::string_view text);

/// The job document with its closing, everything else as it was.
/// @throws Error not_verified  with a problem for each thing that speaks against the verdict
[[nodiscard]] std::string closed_job(std::string_view job_text, const AnswerContext& context,
                                     const belief::Posterior& posterior,
                                     const std::vector<advice::Check>& checks,
                                     const Closing& closing);

}  // namespace faultloom::documents
