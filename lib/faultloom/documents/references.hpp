#pragma once

#include <faultloom/base/error.hpp>
#include <faultloom/documents/cautions_reader.hpp>
#include <faultloom/rates/rates.hpp>
#include <faultloom/readings/instrument.hpp>
#include <faultloom/vehicle/vehicle.hpp>
#include <vector>

namespace faultloom::documents {

/// Names that one document takes from another: caution ids of zones, components and instruments,
/// environments of components. One problem for each that does not exist.
void check_references(const vehicle::Vehicle& vehicle, const readings::InstrumentSet& instruments,
                      const Cautions& cautions, const rates::Rates& rates,
                      std::vector<Problem>& problems);

}  // namespace faultloom::documents
