// Readers of everything that is a document, an argument in JSON, or CSV.
#include "check.hpp"
#include "harness.hpp"
#include "small.hpp"

#include <faultloom/circuit/solver.hpp>
#include <faultloom/documents/cautions_reader.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/fleet_options.hpp>
#include <faultloom/documents/history_reader.hpp>
#include <faultloom/documents/instruments_reader.hpp>
#include <faultloom/documents/kinds.hpp>
#include <faultloom/documents/model_parts.hpp>
#include <faultloom/documents/options.hpp>
#include <faultloom/documents/rates_reader.hpp>
#include <faultloom/documents/references.hpp>
#include <faultloom/documents/text.hpp>
#include <faultloom/documents/text_list.hpp>
#include <faultloom/documents/vehicle_reader.hpp>
#include <faultloom/documents/verification_answers.hpp>
#include <faultloom/rates/rates.hpp>
#include <faultloom/vehicle/lint.hpp>
#include <nlohmann/json.hpp>

#include <array>
#include <cmath>
#include <string>

namespace fuzz {
namespace {

using namespace faultloom;
using nlohmann::json;

void read_text(std::string_view input) {
  json value;
  if (!accepted([&] { value = documents::parse_text(input); })) return;
  const auto written = value.dump();
  require(documents::parse_text(written) == value, "written and read is another document", written);
}

/// A vehicle that was accepted can be laid out and solved.
void drive(const vehicle::Vehicle& vehicle) {
  check_problems(vehicle::lint(vehicle));
  const circuit::Circuit circuit(vehicle);
  circuit::Solver solver(circuit);
  const auto rest = solver.stage(vehicle::ControlState(vehicle.run_state.size(), 0));
  const auto run = solver.stage(vehicle.run_state);
  std::vector<double> volts(vehicle.terminals.size());
  for (vehicle::Index mode = -1; mode < static_cast<vehicle::Index>(vehicle.modes.size()); ++mode) {
    const auto overrides = circuit::overrides_of(
        circuit, std::span(&mode, static_cast<std::size_t>(mode < 0 ? 0 : 1)));
    solver.begin(overrides);
    for (const auto stage : {rest, run}) {
      solver.enter(stage);
      solver.volts(volts);
      for (const double volt : volts) require(std::isfinite(volt), "a voltage that is no number");
    }
    if (mode > 8) break;
  }
}

void read_vehicle_of(std::string_view input, const documents::KindCatalog& kinds) {
  vehicle::Vehicle vehicle;
  std::vector<Problem> warnings;
  if (!accepted([&] { vehicle = documents::read_vehicle(input, kinds, &warnings); }, input)) return;
  check_problems(warnings, input);
  drive(vehicle);
}

void read_small_vehicle(std::string_view input) {
  static const auto kinds = documents::read_kinds(small_kinds());
  read_vehicle_of(input, kinds);
}

void read_shipped_vehicle(std::string_view input) {
  static const auto kinds = documents::default_kinds();
  read_vehicle_of(input, kinds);
}

void read_kinds(std::string_view input) {
  documents::KindCatalog kinds;
  if (!accepted([&] { kinds = documents::read_kinds(input); }, input)) return;
  vehicle::Vehicle vehicle;
  if (accepted([&] { vehicle = documents::read_vehicle(small_vehicle(), kinds); })) drive(vehicle);
}

void read_rates(std::string_view input) {
  static const auto kinds = documents::read_kinds(small_kinds());
  rates::Rates rates;
  if (!accepted([&] { rates = documents::read_rates(input); }, input)) return;
  std::vector<Problem> problems;
  documents::check_rates(rates, kinds, problems);
  documents::cap(problems);
  check_problems(problems, input);
  const auto& parts = small_model().parts();
  problems.clear();
  documents::check_references(parts.vehicle, parts.instruments, parts.cautions, rates, problems);
  if (!problems.empty()) return;
  for (const double p : rates::mode_priors(parts.vehicle, rates, {}))
    require(p >= 0 && p <= 1, "a prior that is no probability", std::to_string(p));
}

void read_instruments(std::string_view input) {
  accepted([&] { static_cast<void>(documents::read_instruments(input)); }, input);
}

void read_cautions(std::string_view input) {
  accepted([&] { static_cast<void>(documents::read_cautions(input)); }, input);
}

void read_history(std::string_view input) {
  std::vector<Problem> problems;
  if (accepted([&] { documents::check_history(input, problems); }, input))
    check_problems(problems, input);
  const std::array models = {&small_model()};
  accepted([&] { static_cast<void>(documents::read_history(input, models)); }, input);
}

void read_situation(std::string_view input) {
  const auto& model = small_model();
  std::string solution;
  if (!accepted([&] { solution = model.solve_json(input); }, input)) return;
  require(json::parse(solution)["format"] == "faultloom.solution", "no solution", solution);
  for (const double volt : model.terminal_volts(input))
    require(std::isfinite(volt), "a voltage that is no number");
  require(model.spice_deck(input).find(".end") != std::string::npos, "a deck without an end");
}

void read_options(std::string_view input) {
  const auto& parts = small_model().parts();
  const auto check = [&](auto&& read) { accepted([&] { static_cast<void>(read()); }, input); };
  check([&] { return documents::read_rank_options(input); });
  check([&] { return documents::read_next_options(input, parts.vehicle, parts.instruments); });
  check([&] { return documents::read_plan_options(input, parts.vehicle, parts.instruments); });
  check([&] { return documents::read_reach_options(input, parts.vehicle, parts.instruments); });
  check([&] { return documents::read_learning_options(input); });
  check([&] { return documents::read_calibration_options(input); });
  check([&] { return documents::read_closing(input); });
  check([&] { return documents::read_fleet_options(input); });
}

/// A list of documents is cut where the parser would cut it.
void cut_list(std::string_view input) {
  std::vector<std::string_view> elements;
  if (!accepted([&] { elements = documents::elements_of(input); })) return;
  std::string list = "[";
  for (const auto element : elements) {
    require(element.empty() || element.data() >= input.data(), "an element from elsewhere");
    require(element.empty() || element.data() + element.size() <= input.data() + input.size(),
            "an element from elsewhere");
    list += (list.size() > 1 ? "," : "") + std::string(element);
  }
  list += "]";
  const auto whole = json::parse(input, nullptr, false);
  if (!whole.is_discarded())
    require(json::parse(list, nullptr, false) == whole, "a list cut in other places", list);
}

void read_run_list(std::string_view input) {
  std::string vehicle;
  if (!accepted([&] { vehicle = documents::vehicle_from_run_list(input, "CART"); })) return;
  static const auto kinds = documents::default_kinds();
  // Terminals that the stand-in kind lacks are expected; the form must be right all the same.
  try {
    static_cast<void>(documents::read_vehicle(vehicle, kinds));
  } catch (const Error& error) {
    for (const auto& problem : error.problems())
      require(problem.code == Code::reference, "a skeleton against the schema", problem.message);
  }
}

void check_any(std::string_view input) {
  check_problems(documents::check_document(input, small_kinds()));
}

std::vector<Seed> text_seeds() {
  return numbered({R"({"a":[1,-2.5e-3,true,null,"\u00e9\n"],"b/~":{"":{}}})", "[[[[[]]]]]",
                   R"({"a":1,"a":2})", R"("\ud83d\ude00")", "1e308", "-0", "[1,NaN]"});
}

/// The small vehicle, of shipped kinds. A change of it takes a tenth of the time of one of a whole cart.
std::string small_of_shipped_kinds() {
  static const auto patch = json::parse(R"([
    {"op":"replace","path":"/parts/BAT1/kind","value":"battery_block"},
    {"op":"replace","path":"/parts/S1/kind","value":"key_switch"},
    {"op":"replace","path":"/parts/M1/kind","value":"motor_permanent"},
    {"op":"replace","path":"/wires/W8/to","value":"M1.a1"},
    {"op":"replace","path":"/wires/W9/from","value":"M1.a2"}])");
  return json::parse(small_vehicle()).patch(patch).dump();
}

std::vector<Seed> shipped_vehicles() {
  return {{"small", small_of_shipped_kinds()},
          {"tug", data_text("vehicles/mulch-tug.json")},
          {"runner", data_text("vehicles/orchid-runner.json")},
          {"hauler", data_text("vehicles/seedling-hauler.json")}};
}

/// The small kinds, and each shipped kind with those it is based on.
std::vector<Seed> several_kinds() {
  std::vector<Seed> seeds = {{"small", small_kinds()}};
  const auto shipped = json::parse(data_text("kinds.json"));
  for (const auto& [id, kind] : shipped["kinds"].items()) {
    auto one = shipped;
    one["kinds"] = json::object();
    for (auto name = id; !name.empty(); name = one["kinds"][name].value("based_on", ""))
      one["kinds"][name] = shipped["kinds"][name];
    seeds.push_back({id, one.dump()});
  }
  return seeds;
}

std::vector<Seed> every_option() {
  auto texts = small_options();
  texts.insert(texts.end(), small_closings().begin(), small_closings().end());
  return numbered(texts);
}

std::vector<Seed> run_lists() {
  return {{"garden", data_text("jobs/garden_run_list.csv")},
          {"short",
           "wire,from,to,gauge_awg,length_metre,loom,zone,class\n"
           "W1,A.x,\"B.y\",16,1.5,L1,dash,power\nW2,X1-1.plug,X1-2.socket,18,0.3,,,\n"},
          {"area", "wire,from,to,length_metre,area_mm2\r\nW1,A.x,B.negative,1,2.5\r\n"}};
}

std::vector<Seed> one_of_each() {
  return numbered({small_vehicle(), small_kinds(), small_rates(), data_text("instruments.json"),
                   small_cautions(), small_job(), small_history(),
                   tests_text("journals/version-1.journal"), R"({"format":"x"})"});
}

}  // namespace

std::vector<Harness> document_harnesses() {
  return {
      {"text", Shape::bytes, 4000, 4096, read_text, text_seeds},
      {"vehicle", Shape::json, 100, 16384, read_small_vehicle,
       [] { return numbered({small_vehicle()}); }},
      {"shipped_vehicle", Shape::json, 20, 65536, read_shipped_vehicle, shipped_vehicles},
      {"kinds", Shape::json, 40, 32768, read_kinds, several_kinds},
      {"rates", Shape::json, 40, 16384, read_rates, [] { return numbered({small_rates()}); }},
      {"instruments", Shape::json, 80, 16384, read_instruments,
       [] { return numbered({data_text("instruments.json")}); }},
      {"cautions", Shape::json, 150, 8192, read_cautions,
       [] { return numbered({small_cautions()}); }},
      {"history", Shape::json, 50, 16384, read_history, [] { return numbered({small_history()}); }},
      {"situation", Shape::json, 400, 4096, read_situation,
       [] { return numbered(small_situations()); }},
      {"options", Shape::json, 600, 4096, read_options, every_option},
      {"job_list", Shape::bytes, 1000, 4096, cut_list,
       [] {
         return numbered({R"([{"a":"]\\\"["},[],1 , "x,y"])", "[]", " [ {} ] ", "[1,2"});
       }},
      {"run_list", Shape::bytes, 200, 4096, read_run_list, run_lists},
      {"check", Shape::json, 60, 65536, check_any, one_of_each},
  };
}

}  // namespace fuzz
