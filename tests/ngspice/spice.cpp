#include "ngspice/spice.hpp"

#include <fmt/format.h>
#include <ngspice/sharedspice.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <sstream>
#include <stdexcept>
#include <string_view>

namespace faultloom::witness {
namespace {

/// What ngspice last sent; the shared library knows one circuit per process, so neither does this know more.
struct Received {
  std::vector<std::string> names;
  std::vector<double> values;
  std::string log;
};

Received& received() {
  static Received instance;
  return instance;
}

int on_text(char* text, int, void*) {
  if (std::strncmp(text, "stderr", 6) == 0) received().log += std::string(text) + "\n";
  return 0;
}

int on_status(char*, int, void*) { return 0; }

int on_exit(int, NG_BOOL, NG_BOOL, int, void*) {
  received().log += "ngspice wants to exit\n";
  return 0;
}

int on_data(pvecvaluesall data, int, int, void*) {
  auto& values = received().values;
  values.resize(static_cast<std::size_t>(data->veccount));
  for (std::size_t i = 0; i < values.size(); ++i) values[i] = data->vecsa[i]->creal;
  return 0;
}

int on_vectors(pvecinfoall info, int, void*) {
  auto& names = received().names;
  names.resize(static_cast<std::size_t>(info->veccount));
  for (std::size_t i = 0; i < names.size(); ++i) names[i] = info->vecs[i]->vecname;
  return 0;
}

int on_background(NG_BOOL, int, void*) { return 0; }

void start() {
  static const bool started = [] {
    ngSpice_Init(on_text, on_status, on_exit, on_data, on_vectors, on_background, nullptr);
    return true;
  }();
  static_cast<void>(started);
}

/// ngspice adds gmin where it can and pivots loosely by default; neither does any good to a network whose
/// conductances span twelve decades.
constexpr std::string_view options =
    ".options gmin=1e-30 pivrel=0.9 pivtol=1e-30 reltol=1e-10 vntol=1e-15 abstol=1e-18";

}  // namespace

Spice::Spice(const circuit::Circuit& circuit) : deck_(reports::complete_spice_deck(circuit)) {
  start();
  std::vector<std::string> lines;
  std::istringstream text(deck_.text);
  for (std::string line; std::getline(text, line);) {
    if (line == ".end") lines.emplace_back(options);
    lines.push_back(line);
  }
  std::vector<char*> pointers;
  for (auto& line : lines) pointers.push_back(line.data());
  pointers.push_back(nullptr);
  if (ngSpice_Circ(pointers.data()) != 0)
    throw std::runtime_error("ngspice rejects the deck: " + received().log);
  const auto& healthy = circuit.healthy();
  for (std::size_t e = 0; e < healthy.siemens.size(); ++e)
    // The deck holds dormant elements open.
    now_.push_back(healthy.siemens[e] == 0 ? Part{}
                                           : Part{true, 1 / healthy.siemens[e],
                                                  healthy.ampere[e] / healthy.siemens[e]});
  command("op");
  find_nodes();
}

Spice::~Spice() {
  ngSpice_Command(std::string("destroy all").data());
  ngSpice_Command(std::string("remcirc").data());
}

void Spice::command(const std::string& text) {
  std::string copy = text;
  if (ngSpice_Command(copy.data()) != 0)
    throw std::runtime_error("ngspice fails at '" + text + "': " + received().log);
}

void Spice::find_nodes() {
  const auto& names = received().names;
  for (const auto& node : deck_.node_names) {
    if (node == "0") {
      place_.push_back(names.size());
      continue;
    }
    const auto found = std::find(names.begin(), names.end(), node);
    if (found == names.end()) throw std::runtime_error("ngspice has no node " + node);
    place_.push_back(static_cast<std::size_t>(found - names.begin()));
    // The same number through the other door.
    const auto* vector = ngGet_Vec_Info(std::string(node).data());
    if (vector == nullptr || vector->v_realdata[0] != received().values[place_.back()])
      throw std::runtime_error("ngspice sends something else than the voltage of node " + node);
  }
}

std::vector<double> Spice::volts(const std::vector<Part>& parts) {
  for (std::size_t e = 0; e < parts.size(); ++e) {
    const auto& part = parts[e];
    const double ohm = part.conducts ? part.ohm : reports::open_ohm;
    const double before = now_[e].conducts ? now_[e].ohm : reports::open_ohm;
    if (ohm != before) command(fmt::format("alter {} = {:.17g}", deck_.resistor_names[e], ohm));
    const bool has_source = !deck_.source_names[e].empty();
    if (has_source && part.conducts && part.emf_volt != now_[e].emf_volt)
      command(fmt::format("alter {} = {:.17g}", deck_.source_names[e], part.emf_volt));
    const double emf_volt = part.conducts ? part.emf_volt : now_[e].emf_volt;
    now_[e] = {part.conducts, part.ohm, emf_volt};
  }
  received().values.clear();
  received().log.clear();
  command("op");
  ++runs_;
  const auto& values = received().values;
  if (values.empty())
    throw std::runtime_error("ngspice finds no operating point: " + received().log);
  std::vector<double> result;
  result.reserve(place_.size());
  for (const auto place : place_) result.push_back(place < values.size() ? values[place] : 0.0);
  command("destroy all");
  return result;
}

}  // namespace faultloom::witness
