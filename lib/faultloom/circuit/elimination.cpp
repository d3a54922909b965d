#include <faultloom/circuit/elimination.hpp>

#include <algorithm>
#include <faultloom/circuit/ordering.hpp>
#include <utility>

namespace faultloom::circuit {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

}  // namespace

EliminationPlan::EliminationPlan(std::int32_t node_count, std::span<const Branch> branches,
                                 std::span<const double> leakage_siemens) {
  std::vector<std::pair<std::int32_t, std::int32_t>> edges;
  edges.reserve(branches.size());
  for (const auto& branch : branches) edges.emplace_back(branch.a, branch.b);
  const auto ordering = choose_order(node_count, edges);
  mean_path_length_ = ordering.mean_path_length;
  build(branches, ordering.order, ordering.later);
  for (const auto& front : fronts_) leakage_.push_back(leakage_siemens[at(front.node)]);
}

void EliminationPlan::build(std::span<const Branch> branches, std::span<const std::int32_t> order,
                            const std::vector<std::vector<std::int32_t>>& later_of) {
  const auto n = order.size();
  fronts_.resize(n);
  rank_.resize(n);
  for (std::size_t k = 0; k < n; ++k) {
    auto& front = fronts_[k];
    front.node = order[k];
    rank_[at(order[k])] = static_cast<std::int32_t>(k);
    front.degree = static_cast<std::int32_t>(later_of[k].size());
    front.later = static_cast<std::int32_t>(later_.size());
    front.parent = later_of[k].empty() ? -1 : later_of[k].front();
    later_.insert(later_.end(), later_of[k].begin(), later_of[k].end());
  }
  assign_branches(branches);
  std::vector<std::vector<Child>> children(n);
  for (std::size_t k = 0; k < n; ++k) {
    if (fronts_[k].parent < 0) continue;
    const auto& mine = later_of[k];
    const auto& theirs = later_of[at(fronts_[k].parent)];
    children[at(fronts_[k].parent)].push_back(
        {static_cast<std::int32_t>(k), static_cast<std::int32_t>(places_.size())});
    add_places(mine, theirs);
  }
  for (std::size_t k = 0; k < n; ++k) {
    fronts_[k].first_child = static_cast<std::int32_t>(children_.size());
    fronts_[k].child_count = static_cast<std::int32_t>(children[k].size());
    children_.insert(children_.end(), children[k].begin(), children[k].end());
  }
  paths_.assign(n, Bits(n));
  for (std::size_t k = n; k-- > 0;) {
    if (fronts_[k].parent >= 0) paths_[k] = paths_[at(fronts_[k].parent)];
    paths_[k].set(k);
  }
  propagate_emf();
  lay_out();
}

/// Places of a block's numbers in the numbers of the parent: the parent is the first of the child's later
/// neighbours, so what concerns it goes into its own sums and columns, the rest into its block.
void EliminationPlan::add_places(std::span<const std::int32_t> mine,
                                 std::span<const std::int32_t> theirs) {
  const FrontLayout to{static_cast<std::int32_t>(theirs.size())};
  const std::int32_t d = to.degree;
  std::vector<std::int32_t> map;
  for (const auto rank : mine.subspan(1))
    map.push_back(static_cast<std::int32_t>(std::lower_bound(theirs.begin(), theirs.end(), rank) -
                                            theirs.begin()));
  const auto add_list = [&](std::int32_t own, std::int32_t block) {
    places_.push_back(own);
    for (const auto q : map) places_.push_back(block + q);
  };
  const auto add_pairs = [&](std::int32_t column, std::int32_t block) {
    for (const auto q : map) places_.push_back(column + q);
    // Later neighbours are sorted on both sides, so map is ascending and (p, q) stays upper-triangular.
    for (std::size_t p = 0; p < map.size(); ++p)
      for (std::size_t q = p + 1; q < map.size(); ++q)
        places_.push_back(block + map[p] * d - map[p] * (map[p] + 1) / 2 - map[p] - 1 + map[q]);
  };
  add_list(to.datum_siemens(), to.block_datum());
  add_list(to.injected(), to.block_injected());
  add_pairs(to.column_siemens(), to.block_siemens());
  add_pairs(to.column_ampere(), to.block_ampere());
}

void EliminationPlan::assign_branches(std::span<const Branch> branches) {
  std::vector<std::vector<OwnBranch>> own(fronts_.size());
  branch_rank_.assign(branches.size(), 0);
  for (std::size_t b = 0; b < branches.size(); ++b) {
    const auto ra = branches[b].a < 0 ? -1 : rank_[at(branches[b].a)];
    const auto rb = branches[b].b < 0 ? -1 : rank_[at(branches[b].b)];
    const bool a_first = ra >= 0 && (rb < 0 || ra < rb);
    const auto first = a_first ? ra : rb;
    const auto second = a_first ? rb : ra;
    branch_rank_[b] = std::max(first, std::int32_t{0});
    if (first < 0 || first == second) continue;  // both ends on one node: no influence
    std::int32_t slot = -1;
    if (second >= 0) {
      const auto& front = fronts_[at(first)];
      const auto* begin = later_.data() + front.later;
      slot =
          static_cast<std::int32_t>(std::lower_bound(begin, begin + front.degree, second) - begin);
    }
    own[at(first)].push_back({static_cast<std::int32_t>(b), slot, a_first ? 1.0 : -1.0});
    if (branches[b].may_have_emf && slot >= 0) fronts_[at(first)].has_emf = true;
  }
  for (std::size_t k = 0; k < fronts_.size(); ++k) {
    fronts_[k].first_branch = static_cast<std::int32_t>(own_.size());
    fronts_[k].branch_count = static_cast<std::int32_t>(own[k].size());
    own_.insert(own_.end(), own[k].begin(), own[k].end());
  }
}

void EliminationPlan::propagate_emf() {
  // A column with an EMF leaves one in its block only where it has two later neighbours or more; the
  // conservative rule "the parent has one too" costs a little arithmetic and no accuracy.
  for (auto& front : fronts_)
    if (front.has_emf && front.degree >= 2) fronts_[at(front.parent)].has_emf = true;
}

void EliminationPlan::lay_out() {
  std::int32_t offset = 0;
  for (auto& front : fronts_) {
    front.offset = offset;
    offset += FrontLayout{front.degree}.size();
  }
  numeric_size_ = at(offset);
}

void eliminate_all(const EliminationPlan& plan, const BranchValues& values,
                   std::span<double> numeric) {
  const auto numbers = [&](std::int32_t rank) { return numeric.data() + plan.front(rank).offset; };
  const auto value = [&](std::int32_t b) {
    return std::pair{values.siemens[at(b)], values.ampere[at(b)]};
  };
  for (std::int32_t k = 0; k < plan.node_count(); ++k)
    eliminate(plan, k, numeric.data() + plan.front(k).offset, numbers, value);
}

void substitute_all(const EliminationPlan& plan, std::span<const double> numeric,
                    std::span<double> volts) {
  for (std::int32_t k = plan.node_count(); k-- > 0;) {
    const auto& front = plan.front(k);
    const FrontLayout layout{front.degree};
    const double* n = numeric.data() + front.offset;
    const auto* later = plan.later() + front.later;
    double sum = n[layout.driven()];
    for (std::int32_t p = 0; p < front.degree; ++p) sum += n[p] * volts[at(later[p])];
    volts[at(k)] = sum * n[layout.inverse()];
  }
}

std::vector<double> solve_network(std::int32_t node_count, std::span<const Branch> branches,
                                  const BranchValues& values,
                                  std::span<const double> leakage_siemens) {
  const EliminationPlan plan(node_count, branches, leakage_siemens);
  std::vector<double> numeric(plan.numeric_size());
  std::vector<double> by_rank(at(node_count));
  eliminate_all(plan, values, numeric);
  substitute_all(plan, numeric, by_rank);
  std::vector<double> volts(at(node_count));
  for (std::int32_t node = 0; node < node_count; ++node)
    volts[at(node)] = by_rank[at(plan.rank_of(node))];
  return volts;
}

}  // namespace faultloom::circuit
