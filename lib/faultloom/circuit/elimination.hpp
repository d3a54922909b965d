#pragma once

#include <cstdint>
#include <faultloom/base/bits.hpp>
#include <span>
#include <vector>

/// Subtraction-free elimination of a resistive network.
///
/// The matrix is never assembled: only branch conductances (>= 0) and conductances to the datum are
/// stored, and a node is removed by the star-mesh transform, which adds, multiplies and divides
/// non-negative numbers only. Every node voltage then carries a relative error of a few units in the
/// last place whatever the spread of conductances (Grassmann, Taksar and Heyman 1985; Alfa, Xue and Ye,
/// Math. Comp. 71, 2002), where an LU factorisation of the assembled matrix loses up to eleven digits
/// once a wire is open. A branch may hold an EMF; it travels through the transform as a short-circuit
/// current, so a battery chain floating on its leakage keeps its accuracy too.
namespace faultloom::circuit {

/// A branch between two nodes; -1 is the datum.
struct Branch {
  std::int32_t a = -1;
  std::int32_t b = -1;
  bool may_have_emf = false;
};

/// Values of all branches: conductance [S] and short-circuit current g*e [A], where e = V(a) - V(b) of
/// the unloaded branch.
struct BranchValues {
  std::vector<double> siemens;
  std::vector<double> ampere;
};

/// The order of elimination and where each number goes: computed once per network structure.
/// Immutable; shared by threads.
class EliminationPlan {
 public:
  struct OwnBranch {
    std::int32_t branch;
    std::int32_t slot;  ///< position among the node's later neighbours, -1 for the datum
    double sign;        ///< +1 if the branch's `a` is this node
  };
  struct Child {
    std::int32_t rank;
    /// Offset into places(): where in this node's numbers each number of the child's block goes.
    std::int32_t places;
  };
  struct Front {
    std::int32_t node = 0;     ///< index in the caller's numbering
    std::int32_t parent = -1;  ///< rank of the parent, -1 at a root
    std::int32_t degree = 0;   ///< number of later neighbours
    std::int32_t later = 0;    ///< offset into later()
    std::int32_t first_branch = 0;
    std::int32_t branch_count = 0;
    std::int32_t first_child = 0;
    std::int32_t child_count = 0;
    std::int32_t offset = 0;  ///< into a numeric array
    bool has_emf = false;     ///< some short-circuit current may appear in this column
  };

  /// `leakage_siemens[i] > 0` ties node i to the datum, so every node voltage is defined.
  /// Chooses among Boost.Graph's multiple-minimum-degree order and several minimum-degree orders that
  /// prefer shallow elimination trees, the one with the shortest mean path to the root.
  EliminationPlan(std::int32_t node_count, std::span<const Branch> branches,
                  std::span<const double> leakage_siemens);

  [[nodiscard]] std::int32_t node_count() const noexcept {
    return static_cast<std::int32_t>(fronts_.size());
  }
  [[nodiscard]] std::int32_t rank_of(std::int32_t node) const {
    return rank_[static_cast<std::size_t>(node)];
  }
  [[nodiscard]] const Front& front(std::int32_t rank) const {
    return fronts_[static_cast<std::size_t>(rank)];
  }
  [[nodiscard]] const std::int32_t* later() const noexcept { return later_.data(); }
  [[nodiscard]] const OwnBranch* own_branches() const noexcept { return own_.data(); }
  [[nodiscard]] const Child* children() const noexcept { return children_.data(); }
  [[nodiscard]] const std::int32_t* places() const noexcept { return places_.data(); }
  /// The ranks from a node up to its root, itself included.
  [[nodiscard]] const Bits& path(std::int32_t rank) const {
    return paths_[static_cast<std::size_t>(rank)];
  }
  /// Path of the first-eliminated end of a branch: what a change of its value touches.
  [[nodiscard]] const Bits& branch_path(std::int32_t branch) const {
    return paths_[static_cast<std::size_t>(branch_rank_[static_cast<std::size_t>(branch)])];
  }
  [[nodiscard]] double leakage(std::int32_t rank) const {
    return leakage_[static_cast<std::size_t>(rank)];
  }
  /// Rank of the first-eliminated end of a branch: the node that the branch is added to.
  [[nodiscard]] std::int32_t branch_rank(std::int32_t branch) const {
    return branch_rank_[static_cast<std::size_t>(branch)];
  }
  /// Length of a numeric array.
  [[nodiscard]] std::size_t numeric_size() const noexcept { return numeric_size_; }
  /// Mean number of nodes to eliminate again after one branch changed.
  [[nodiscard]] double mean_path_length() const noexcept { return mean_path_length_; }

 private:
  void build(std::span<const Branch> branches, std::span<const std::int32_t> order,
             const std::vector<std::vector<std::int32_t>>& later_of);
  void assign_branches(std::span<const Branch> branches);
  void add_places(std::span<const std::int32_t> mine, std::span<const std::int32_t> theirs);
  void propagate_emf();
  void lay_out();

  std::vector<Front> fronts_;
  std::vector<std::int32_t> rank_;
  std::vector<std::int32_t> later_;
  std::vector<OwnBranch> own_;
  std::vector<Child> children_;
  std::vector<std::int32_t> places_;
  std::vector<Bits> paths_;
  std::vector<std::int32_t> branch_rank_;
  std::vector<double> leakage_;
  std::size_t numeric_size_ = 0;
  double mean_path_length_ = 0;
};

/// Offsets inside the numbers of one eliminated node of degree d (see lay_out in the source).
struct FrontLayout {
  std::int32_t degree;
  [[nodiscard]] constexpr std::int32_t pairs() const { return degree * (degree - 1) / 2; }
  [[nodiscard]] constexpr std::int32_t column_siemens() const { return 0; }
  [[nodiscard]] constexpr std::int32_t column_ampere() const { return degree; }
  [[nodiscard]] constexpr std::int32_t datum_siemens() const { return 2 * degree; }
  [[nodiscard]] constexpr std::int32_t injected() const { return 2 * degree + 1; }
  [[nodiscard]] constexpr std::int32_t driven() const {
    return 2 * degree + 2;
  }  ///< injected + column sum
  [[nodiscard]] constexpr std::int32_t inverse() const { return 2 * degree + 3; }
  [[nodiscard]] constexpr std::int32_t block_datum() const { return 2 * degree + 4; }
  [[nodiscard]] constexpr std::int32_t block_injected() const { return 3 * degree + 4; }
  [[nodiscard]] constexpr std::int32_t block_siemens() const { return 4 * degree + 4; }
  [[nodiscard]] constexpr std::int32_t block_ampere() const { return 4 * degree + 4 + pairs(); }
  /// Numbers in use: without an EMF the block's short-circuit currents are neither written nor read.
  [[nodiscard]] constexpr std::int32_t used(bool has_emf) const {
    return has_emf ? size() : block_ampere();
  }
  [[nodiscard]] constexpr std::int32_t size() const { return 4 * degree + 4 + 2 * pairs(); }
};

/// Eliminates one node into `out`. `numbers(rank)` gives the numbers of an already eliminated child,
/// `value(branch)` the pair {siemens, ampere}. Exposed as a template so that full and partial
/// elimination share one piece of arithmetic.
template <typename Numbers, typename Value>
void eliminate(const EliminationPlan& plan, std::int32_t rank, double* out, const Numbers& numbers,
               const Value& value);

/// Eliminates every node. `numeric` has plan.numeric_size() elements.
void eliminate_all(const EliminationPlan& plan, const BranchValues& values,
                   std::span<double> numeric);

/// Node voltages [V] by rank from the numbers of a full elimination.
void substitute_all(const EliminationPlan& plan, std::span<const double> numeric,
                    std::span<double> volts);

/// One-off solution: voltage of every node [V] in the caller's numbering.
[[nodiscard]] std::vector<double> solve_network(std::int32_t node_count,
                                                std::span<const Branch> branches,
                                                const BranchValues& values,
                                                std::span<const double> leakage_siemens);

// ---- implementation of the shared kernel -------------------------------------------------------

/// Step 1: the node's leakage and own branches.
template <typename Value>
void start_node(const EliminationPlan& plan, std::int32_t rank, double* out, const Value& value) {
  const auto& front = plan.front(rank);
  const FrontLayout at{front.degree};
  for (std::int32_t i = 0, n = at.used(front.has_emf); i < n; ++i) out[i] = 0;
  double datum = plan.leakage(rank);
  double injected = 0;
  const auto* own = plan.own_branches() + front.first_branch;
  for (std::int32_t i = 0; i < front.branch_count; ++i) {
    const auto [siemens, ampere] = value(own[i].branch);
    if (own[i].slot < 0) {
      datum += siemens;
      injected += own[i].sign * ampere;
    } else {
      out[at.column_siemens() + own[i].slot] += siemens;
      out[at.column_ampere() + own[i].slot] += own[i].sign * ampere;
    }
  }
  out[at.datum_siemens()] = datum;
  out[at.injected()] = injected;
}

/// Step 2, for one child after another: adds what its elimination left behind.
inline void add_child(const EliminationPlan& plan, const EliminationPlan::Child& child,
                      const double* numbers_of_child, double* out) {
  const auto& below = plan.front(child.rank);
  const FrontLayout from{below.degree};
  const double* block = numbers_of_child + from.block_datum();
  const std::int32_t* place = plan.places() + child.places;
  const std::int32_t count = from.used(below.has_emf) - from.block_datum();
  for (std::int32_t j = 0; j < count; ++j) out[place[j]] += block[j];
}

/// Step 3: the star-mesh transform of a node of degree d; `with_emf`: short-circuit currents as well.
template <bool with_emf>
void remove_node(double* out, std::int32_t d) {
  const FrontLayout at{d};
  const double* siemens = out + at.column_siemens();
  const double* ampere = out + at.column_ampere();
  const double datum = out[at.datum_siemens()];
  const double injected = out[at.injected()];
  double sum = datum;
  double driven = injected;
  for (std::int32_t p = 0; p < d; ++p) sum += siemens[p];
  if constexpr (with_emf)
    for (std::int32_t p = 0; p < d; ++p) driven += ampere[p];
  const double inverse = 1.0 / sum;
  out[at.driven()] = driven;
  out[at.inverse()] = inverse;
  double* block_datum = out + at.block_datum();
  double* block_injected = out + at.block_injected();
  double* block_siemens = out + at.block_siemens();
  double* block_ampere = out + at.block_ampere();
  for (std::int32_t p = 0; p < d; ++p) {
    const double p_siemens = siemens[p];
    // Many edges stand for shorts and open contacts: a row of zeros adds nothing, to the last bit.
    if (p_siemens == 0 && (!with_emf || ampere[p] == 0)) {
      block_siemens += d - p - 1;
      if constexpr (with_emf) block_ampere += d - p - 1;
      continue;
    }
    const double share = p_siemens * inverse;
    block_datum[p] += share * datum;
    block_injected[p] += share * injected;
    if constexpr (with_emf) {
      const double p_ampere = ampere[p];
      block_injected[p] -= p_ampere * datum * inverse;
      for (std::int32_t q = p + 1; q < d; ++q)
        *block_ampere++ += (p_siemens * ampere[q] - siemens[q] * p_ampere) * inverse;
    }
    for (std::int32_t q = p + 1; q < d; ++q) *block_siemens++ += share * siemens[q];
  }
}

inline void remove_node(const EliminationPlan::Front& front, double* out) {
  if (front.has_emf) {
    remove_node<true>(out, front.degree);
  } else {
    remove_node<false>(out, front.degree);
  }
}

template <typename Numbers, typename Value>
void eliminate(const EliminationPlan& plan, std::int32_t rank, double* out, const Numbers& numbers,
               const Value& value) {
  const auto& front = plan.front(rank);
  start_node(plan, rank, out, value);
  const auto* child = plan.children() + front.first_child;
  for (std::int32_t i = 0; i < front.child_count; ++i)
    add_child(plan, child[i], numbers(child[i].rank), out);
  remove_node(front, out);
}

}  // namespace faultloom::circuit
