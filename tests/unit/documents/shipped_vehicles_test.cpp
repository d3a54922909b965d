#include <faultloom/documents/vehicle_reader.hpp>

#include <faultloom/documents/model.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/text.hpp>
#include <faultloom/vehicle/lint.hpp>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <set>
#include <string>
#include <vector>

namespace faultloom::documents {
namespace {

std::vector<std::filesystem::path> files(const char* folder, const char* extension) {
  std::set<std::filesystem::path> found;
  for (const auto& entry :
       std::filesystem::directory_iterator(std::filesystem::path(FAULTLOOM_DATA_DIR) / folder))
    if (entry.path().extension() == extension) found.insert(entry.path());
  return {found.begin(), found.end()};
}

std::string text_of(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

TEST(ShippedVehicles, AreThere) { EXPECT_FALSE(files("vehicles", ".json").empty()); }

TEST(ShippedVehicles, ReadWithoutWarningsAndLintFindsNothing) {
  const auto kinds = default_kinds();
  for (const auto& path : files("vehicles", ".json")) {
    std::vector<Problem> warnings;
    const auto vehicle = read_vehicle(text_of(path), kinds, &warnings);
    EXPECT_EQ(vehicle.id, path.stem());
    for (const auto& problem : warnings) ADD_FAILURE() << path << problem.message;
    for (const auto& problem : vehicle::lint(vehicle)) ADD_FAILURE() << path << problem.message;
  }
}

TEST(ShippedVehicles, WrittenAndReadAreTheSame) {
  const auto kinds = default_kinds();
  for (const auto& path : files("vehicles", ".json")) {
    const auto document = parse_text(text_of(path));
    const auto written = document.dump(2);
    EXPECT_EQ(parse_text(written), document) << path;
    EXPECT_EQ(parse_text(written).dump(2), written) << path;
    const auto a = read_vehicle(text_of(path), kinds);
    const auto b = read_vehicle(written, kinds);
    ASSERT_EQ(a.elements.size(), b.elements.size());
    for (std::size_t e = 0; e < a.elements.size(); ++e) {
      EXPECT_EQ(a.elements[e].name, b.elements[e].name);
      EXPECT_EQ(a.elements[e].ohm, b.elements[e].ohm);
    }
  }
}

TEST(ShippedVehicles, RunListsBecomeSkeletons) {
  for (const auto& path : files("jobs", ".csv")) {
    const auto document = parse_text(vehicle_from_run_list(text_of(path), "skeleton"));
    std::vector<Problem> problems;
    check_schema(document, "vehicle", problems);
    for (const auto& problem : problems) ADD_FAILURE() << problem.pointer << problem.message;
  }
}

}  // namespace
}  // namespace faultloom::documents
