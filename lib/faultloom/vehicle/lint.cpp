#include <faultloom/vehicle/lint.hpp>

#include <faultloom/vehicle/harness.hpp>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <map>
#include <string>
#include <utility>

namespace faultloom::vehicle {
namespace {

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

class Linter {
 public:
  explicit Linter(const Vehicle& vehicle)
      : v_(vehicle), wires_at_(vehicle.terminals.size()), inner_at_(vehicle.terminals.size()) {
    std::vector<bool> is_wire(v_.elements.size(), false);
    for (const auto& wire : v_.wires) is_wire[at(wire.element)] = true;
    for (std::size_t e = 0; e < v_.elements.size(); ++e) {
      if (v_.elements[e].dormant) continue;
      auto& touching = is_wire[e] ? wires_at_ : inner_at_;
      touching[at(v_.elements[e].a)].push_back(static_cast<Index>(e));
      touching[at(v_.elements[e].b)].push_back(static_cast<Index>(e));
    }
  }

  std::vector<Problem> run() {
    for (const auto& component : v_.components) find_dangling(component);
    find_islands();
    for (std::size_t c = 0; c < v_.controls.size(); ++c) find_idle(static_cast<Index>(c));
    for (const auto& terminal : v_.terminals) find_unreachable(terminal);
    for (std::size_t t = 0; t < v_.terminals.size(); ++t) find_shared(t);
    return std::move(problems_);
  }

 private:
  void add(Code code, std::string message, std::string pointer) {
    problems_.push_back({code, std::move(message), std::move(pointer)});
  }

  /// Place of a part, a connector pin, a wire or its joint in the vehicle document. Settings and
  /// earlier work have no terminals and are never asked for.
  [[nodiscard]] std::string pointer_to(const Component& component) const {
    if (component.type == Component::Type::wire) return "/wires/" + pointer_token(component.id);
    if (component.type == Component::Type::termination)
      return pointer_to(v_.components[at(component.wire)]);
    if (component.type == Component::Type::part) return "/parts/" + pointer_token(component.id);
    int pin = 0;
    for (const auto& other : v_.components) {
      if (&other == &component) break;
      if (other.type == Component::Type::contact && other.connector == component.connector) ++pin;
    }
    return fmt::format("/connectors/{}/pins/{}", pointer_token(component.connector), pin);
  }

  /// Terminals of a component that its own elements join, each group in index order.
  [[nodiscard]] std::vector<std::vector<Index>> paths_inside(const Component& component) const {
    std::vector<std::vector<Index>> paths;
    std::map<Index, bool> done;
    for (const auto start : component.terminals) {
      if (done[start]) continue;
      std::vector<Index> path{start};
      done[start] = true;
      for (std::size_t i = 0; i < path.size(); ++i) {
        for (const auto e : inner_at_[at(path[i])]) {
          const auto& element = v_.elements[at(e)];
          const auto other = element.a == path[i] ? element.b : element.a;
          if (!std::exchange(done[other], true)) path.push_back(other);
        }
      }
      std::sort(path.begin(), path.end());
      paths.push_back(std::move(path));
    }
    return paths;
  }

  [[nodiscard]] bool is_wired(Index terminal) const { return !wires_at_[at(terminal)].empty(); }

  [[nodiscard]] bool only_contacts(Index terminal) const {
    const auto& inner = inner_at_[at(terminal)];
    return std::all_of(inner.begin(), inner.end(),
                       [&](Index e) { return v_.elements[at(e)].type == ElementType::contact; });
  }

  void find_dangling(const Component& component) {
    const auto& terminals = component.terminals;
    if (terminals.empty()) return;
    if (component.type == Component::Type::part &&
        std::none_of(terminals.begin(), terminals.end(), [&](Index t) { return is_wired(t); })) {
      add(Code::dangling, fmt::format("No wire reaches {}; wire it or take it out", component.id),
          pointer_to(component));
      return;
    }
    for (const auto& path : paths_inside(component)) {
      const auto wired =
          std::count_if(path.begin(), path.end(), [&](Index t) { return is_wired(t); });
      const bool spare = wired == 0 && path.size() > 1;
      if (spare) continue;
      for (const auto terminal : path) {
        if (is_wired(terminal) || (wired > 1 && only_contacts(terminal))) continue;
        add(Code::dangling,
            fmt::format("Terminal {} is connected to nothing outside {}",
                        v_.terminals[at(terminal)].name, component.id),
            pointer_to(component));
      }
    }
  }

  void find_islands() {
    if (v_.datum == none) return;
    const auto groups = islands(v_);
    const auto mainland = groups[at(v_.datum)];
    std::map<Index, std::vector<Index>> wires;
    for (const auto& wire : v_.wires)
      if (const auto group = groups[at(v_.elements[at(wire.element)].a)]; group != mainland)
        wires[group].push_back(wire.component);
    for (const auto& [group, members] : wires) {
      constexpr std::size_t named = 5;
      std::vector<std::string> names;
      for (std::size_t i = 0; i < std::min(members.size(), named); ++i)
        names.push_back(v_.components[at(members[i])].id);
      add(Code::island,
          fmt::format("No path joins {}{} to {}, whatever the controls do", fmt::join(names, ", "),
                      members.size() > named
                          ? fmt::format(" and {} more wires", members.size() - named)
                          : "",
                      v_.terminals[at(v_.datum)].name),
          pointer_to(v_.components[at(members.front())]));
    }
  }

  [[nodiscard]] bool depends_on(const Condition& condition, Index control) const {
    const auto positions = v_.controls[at(control)].positions.size();
    const auto every = positions >= 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << positions) - 1;
    return std::any_of(condition.ops.begin(), condition.ops.end(), [&](const auto& op) {
      return op.type == Condition::Op::Type::control && op.index == control && op.mask != 0 &&
             op.mask != every;
    });
  }

  void find_idle(Index control) {
    const auto drives = [&](const auto& things, auto condition) {
      return std::any_of(things.begin(), things.end(),
                         [&](const auto& x) { return depends_on(x.*condition, control); });
    };
    if (drives(v_.elements, &Element::closed_when) || drives(v_.signs, &Sign::when)) return;
    const auto& id = v_.controls[at(control)].id;
    add(Code::idle_control,
        fmt::format("Control '{}' drives nothing; name it in a part's 'operated_when'", id),
        "/controls/" + pointer_token(id));
  }

  void find_unreachable(const Terminal& terminal) {
    const auto& owner = v_.components[at(terminal.component)];
    if (!terminal.reachable) {
      auto pointer = pointer_to(owner);
      if (owner.type == Component::Type::part)
        pointer +=
            "/probe/" + pointer_token(std::string_view(terminal.name).substr(owner.id.size() + 1));
      add(Code::unreachable, fmt::format("No probe can reach terminal {}", terminal.name),
          std::move(pointer));
    } else if (terminal.zone == none && !v_.zones.empty()) {
      add(Code::unreachable,
          fmt::format("Terminal {} is in no zone; say how a probe gets there", terminal.name),
          pointer_to(owner));
    }
  }

  void find_shared(std::size_t terminal) {
    const auto& owner = v_.components[at(v_.terminals[terminal].component)];
    if (owner.type != Component::Type::contact) return;
    const auto& wires = wires_at_[terminal];
    for (std::size_t i = 1; i < wires.size(); ++i) {
      const auto& element = v_.elements[at(wires[i])];
      add(Code::shared_pin,
          fmt::format("Wire {} sits on {}, where {} already is; a pin takes one wire a side",
                      element.name, v_.terminals[terminal].name,
                      v_.elements[at(wires.front())].name),
          fmt::format("/wires/{}/{}", pointer_token(element.name),
                      at(element.a) == terminal ? "from" : "to"));
    }
  }

  const Vehicle& v_;
  std::vector<std::vector<Index>> wires_at_;  ///< elements of wires that end at each terminal
  std::vector<std::vector<Index>> inner_at_;  ///< other elements at each terminal
  std::vector<Problem> problems_;
};

}  // namespace

std::vector<Problem> lint(const Vehicle& vehicle) { return Linter(vehicle).run(); }

}  // namespace faultloom::vehicle
