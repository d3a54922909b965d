#pragma once

#include <faultloom/documents/model.hpp>
#include <string>

namespace faultloom::bench {

/// Text of a file below the data folder.
std::string data_text(const std::string& relative);

/// The largest vehicle with its harness laid `copies` times side by side on one pack: copies of every
/// part but the pack, wire, loom and connector. Built once and kept.
const documents::Model& vehicle_times(int copies);

/// A job with eight readings for vehicle_times(copies).
std::string eight_readings(int copies);

}  // namespace faultloom::bench
