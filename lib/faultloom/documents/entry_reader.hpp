#pragma once

#include <faultloom/documents/resolver.hpp>
#include <faultloom/readings/entry.hpp>
#include <faultloom/readings/instrument.hpp>

#include <nlohmann/json_fwd.hpp>

#include <string>

namespace faultloom::documents {

/// Reads one entry of a job that follows the schema. Problems go to the resolver; an entry that caused
/// any is not fit for use.
[[nodiscard]] readings::Entry read_entry(const nlohmann::json& value, const std::string& pointer,
                                         Resolver& resolver,
                                         const readings::InstrumentSet& instruments);

/// Index of an instrument, or -1 and a problem of code reference at the pointer.
[[nodiscard]] int resolve_instrument(const std::string& id, const std::string& pointer,
                                     Resolver& resolver,
                                     const readings::InstrumentSet& instruments);

}  // namespace faultloom::documents
