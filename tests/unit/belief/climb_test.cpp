#include <faultloom/documents/model.hpp>

#include <support/scratch.hpp>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include <string>

namespace faultloom::belief {
namespace {

// One thing cut three wires; two are spliced by now, a pin and a setting were put right in vain, and of 43
// readings a few were taken wrongly. Every smaller set of faults leaves so much to mistakes that no branch
// is followed to all three: found it is by the climb.
TEST(Climb, FindsWhatLiesBehindSetsThatExplainLittle) {
  documents::ModelSources sources;
  const auto vehicle = bytes_of(FAULTLOOM_DATA_DIR "/vehicles/orchid-runner.json");
  sources.vehicle = vehicle;
  const documents::Model model(sources);
  const auto job = bytes_of(FAULTLOOM_TESTS_DIR "/unit/belief/three-cut-wires.json");
  for (const auto* options : {R"({"budget_sets":2500})", R"({"budget_sets":8000})"}) {
    const auto ranking = nlohmann::json::parse(model.rank_json(job, options));
    double cut = 0;  // W27 is in series with W26, and nothing was read between them
    for (const auto& item : ranking["components"])
      if (item["id"] == "W26" || item["id"] == "W27") cut += item["probability"].get<double>();
    EXPECT_GT(cut, 0.8) << options;
    for (const auto& repair : ranking["repairs"]) {
      const bool was_cut = repair["id"] == "W8" || repair["id"] == "W20";
      const double was_faulty = repair["was_faulty"].get<double>();
      EXPECT_TRUE(was_cut ? was_faulty > 0.7 : was_faulty < 0.3)
          << repair["id"] << ' ' << was_faulty;
    }
  }
}

}  // namespace
}  // namespace faultloom::belief
