#pragma once

#include "harness.hpp"

#include <faultloom/documents/model.hpp>

#include <string>
#include <string_view>
#include <vector>

/// The documents that harnesses start from: a small cart with everything it needs, made of what the tests
/// of the library have, and those shipped.
namespace fuzz {

[[nodiscard]] std::string file_text(const std::string& path);
/// Below data/ and below tests/.
[[nodiscard]] std::string data_text(const std::string& path);
[[nodiscard]] std::string tests_text(const std::string& path);

[[nodiscard]] const std::string& small_vehicle();
[[nodiscard]] const std::string& small_kinds();
/// Every kind's modes equally likely.
[[nodiscard]] const std::string& small_rates();
[[nodiscard]] const std::string& small_cautions();
/// Entries of every type.
[[nodiscard]] const std::string& small_job();
/// That job, and jobs with three entries each, which take less time.
[[nodiscard]] const std::vector<std::string>& small_jobs();
[[nodiscard]] const std::string& small_history();

/// Of the small documents; built once.
[[nodiscard]] const faultloom::documents::Model& small_model();

/// Options that keep any question to a few thousand sets and steps.
[[nodiscard]] const std::vector<std::string>& small_options();
/// One for each type, as JSON.
[[nodiscard]] const std::vector<std::string>& small_entries();
[[nodiscard]] const std::vector<std::string>& small_changes();
[[nodiscard]] const std::vector<std::string>& small_situations();
[[nodiscard]] const std::vector<std::string>& small_closings();

/// "0", "1" and so on.
[[nodiscard]] std::vector<Seed> numbered(const std::vector<std::string>& texts);

}  // namespace fuzz
