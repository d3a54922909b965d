#include <faultloom/report/plan_card.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <faultloom/report/text_lines.hpp>
#include <string_view>

namespace faultloom::reports {
namespace {

// Millimeters.
constexpr double page_width = 210;
constexpr double page_height = 297;
constexpr double margin = 9;
constexpr double gutter = 4;
constexpr double gap = 3;  ///< between boxes
constexpr double padding = 2;
constexpr double column_width = (page_width - 2 * margin - gutter) / 2;
constexpr double badge = 6;
constexpr double label_width = 31;
constexpr double row_gap = 0.6;
constexpr double leading = 1.24;  ///< line distance in ems
constexpr double ascent = 0.95;   ///< top of a line to its baseline, in ems; room for accents

constexpr Typeface title_face{5, true};
constexpr Typeface head_face{3.1, true};
constexpr Typeface body_face{2.6, false};
constexpr Typeface strong_face{2.6, true};
constexpr Typeface small_face{2.2, false};
constexpr Typeface small_strong_face{2.2, true};

constexpr std::size_t most_steps = 24;
constexpr std::size_t most_outcomes = 7;
constexpr std::string_view ask_again = "Ask again";

struct Rect {
  double x = 0, y = 0, width = 0, height = 0;
  bool filled = false;
};
struct Rule {
  double x = 0, y = 0, width = 0;
};
struct Line {
  double x = 0, y = 0;  ///< y: baseline
  Typeface face;
  std::string text;
  bool inverse = false;  ///< white on black
};

/// Part of a drawing that is laid out from its own corner and then put somewhere.
struct Block {
  std::string id;
  double height = 0;
  std::vector<Rect> rects;
  std::vector<Rule> rules;
  std::vector<Line> lines;

  /// Wrapped text with its top at `top`; returns where it ends.
  double write(std::string_view text, Typeface face, double x, double top, double width,
               std::size_t most_lines) {
    for (auto& line : wrapped(clean_line(text), face, width, most_lines)) {
      lines.push_back({x, top + ascent * face.size, face, std::move(line)});
      top += leading * face.size;
    }
    return top;
  }
};

std::size_t rank(std::string_view signal_word) {
  constexpr std::string_view words[] = {"DANGER", "WARNING", "CAUTION", "NOTICE"};
  return static_cast<std::size_t>(std::find(std::begin(words), std::end(words), signal_word) -
                                  std::begin(words));
}

/// The cautions of the steps shown, the most serious first, each with a letter.
class Cautions {
 public:
  Cautions(const PlanCard& card, std::size_t shown) {
    for (std::size_t s = 0; s < shown; ++s)
      for (const auto& caution : card.steps[s].cautions)
        if (place(caution) == list_.size()) list_.push_back(&caution);
    std::stable_sort(list_.begin(), list_.end(), [](const auto* a, const auto* b) {
      return rank(a->signal_word) < rank(b->signal_word);
    });
  }

  /// "WARNING A B; NOTICE E"
  [[nodiscard]] std::string references(const CardStep& step) const {
    std::vector<std::size_t> places;
    for (const auto& caution : step.cautions) places.push_back(place(caution));
    std::sort(places.begin(), places.end());
    places.erase(std::unique(places.begin(), places.end()), places.end());
    std::string text;
    std::string_view word;
    for (const auto p : places) {
      if (list_[p]->signal_word != word) {
        word = list_[p]->signal_word;
        text += (text.empty() ? "" : "; ") + std::string(word);
      }
      text += ' ' + letter(p);
    }
    return text;
  }

  /// @param most_height  of the block
  [[nodiscard]] Block block(double most_height, bool& whole) const {
    constexpr double width = page_width - 2 * margin;
    constexpr double letter_width = 7;
    constexpr double word_width = 18;
    constexpr std::size_t most_lines = 3;
    Block b;
    b.id = "cautions";
    whole = true;
    if (list_.empty()) return b;
    double y = b.write("Cautions, by the letters at the steps", strong_face, padding, padding,
                       width - 2 * padding, 1);
    const double foot = padding + leading * small_face.size;
    for (std::size_t i = 0; i < list_.size(); ++i) {
      Block row;
      row.write(letter(i), small_strong_face, padding, y, letter_width, 1);
      row.write(list_[i]->signal_word, small_strong_face, padding + letter_width, y, word_width - 1,
                1);
      const double x = padding + letter_width + word_width;
      const double end =
          row.write(list_[i]->text, small_face, x, y, width - padding - x, most_lines);
      if (end > most_height - foot) {
        whole = false;
        y = b.write("More cautions apply: read them in the plan itself before you begin.",
                    small_strong_face, padding, y, width - 2 * padding, 1);
        break;
      }
      b.lines.insert(b.lines.end(), row.lines.begin(), row.lines.end());
      y = end;
    }
    b.height = y + padding;
    b.rects.push_back({0, 0, width, b.height});
    return b;
  }

 private:
  [[nodiscard]] std::size_t place(const CardCaution& caution) const {
    const auto found = std::find_if(list_.begin(), list_.end(), [&](const auto* c) {
      return c->text == caution.text && c->signal_word == caution.signal_word;
    });
    return static_cast<std::size_t>(found - list_.begin());
  }
  /// A to Z, then AA.
  static std::string letter(std::size_t i) {
    std::string text;
    for (++i; i > 0; i = (i - 1) / 26)
      text.insert(text.begin(), static_cast<char>('A' + (i - 1) % 26));
    return text;
  }

  std::vector<const CardCaution*> list_;
};

/// A row takes one line if it can: most outcomes lead nowhere on the card.
double outcome_row(Block& b, const CardOutcome& outcome, double y, std::size_t shown) {
  constexpr double right = padding + label_width + 2;
  constexpr double right_width = column_width - padding - right;
  b.rules.push_back({padding, y, column_width - 2 * padding});
  y += row_gap;
  const auto label =
      outcome.share.empty() ? outcome.label : fmt::format("{}, {}", outcome.label, outcome.share);
  const double left_end = b.write(label, strong_face, padding, y, label_width, 3);
  const auto suspects = outcome.means.empty() ? "" : "Suspects: " + outcome.means;
  const bool followed = outcome.step > 0 && outcome.step <= shown;
  double end = y;
  if (followed) {
    end = b.write(fmt::format("Go on at step {}.", outcome.step), strong_face, right, y,
                  right_width, 1);
    if (!suspects.empty()) end = b.write(suspects, small_face, right, end, right_width, 2);
  } else {
    auto text = (outcome.step > 0 ? std::string(ask_again) : outcome.then) + ". " + suspects;
    end = b.write(text, small_face, right, y + (body_face.size - small_face.size) * ascent,
                  right_width, 3);
  }
  return std::max(left_end, end) + row_gap;
}

Block step_block(const CardStep& step, std::size_t number, std::size_t shown,
                 const Cautions& cautions) {
  Block b;
  b.id = fmt::format("step-{}", number);
  constexpr double inner = column_width - 2 * padding;
  b.rects.push_back({});  // the frame, when the height is known
  const auto figure = fmt::format("{}", number);
  b.rects.push_back({0, 0, badge, badge, true});
  b.lines.push_back({(badge - text_width(figure, head_face)) / 2, 4.1, head_face, figure, true});
  double y =
      b.write(step.where, head_face, badge + padding, 1.1, column_width - badge - 2 * padding, 2);
  y = b.write(step.price, small_face, badge + padding, y, column_width - badge - 2 * padding, 2);
  y = std::max(y, badge) + 0.8;
  constexpr std::size_t most_paragraphs = 4;
  for (std::size_t p = 0; p < std::min(step.what.size(), most_paragraphs); ++p)
    y = b.write(step.what[p], body_face, padding, y, inner, 4) + 0.3;
  if (const auto text = cautions.references(step); !text.empty())
    y = b.write(text, small_strong_face, padding, y, inner, 2) + 0.3;
  y += 0.6;
  // So low that a single step leaves room for the heading and the cautions, whatever they say.
  constexpr double lowest_row = 100;
  std::size_t told = 0;
  while (told < std::min(step.outcomes.size(), most_outcomes) && y < lowest_row)
    y = outcome_row(b, step.outcomes[told++], y, shown);
  if (told < step.outcomes.size()) {
    CardOutcome rest;
    rest.label = "anything else";
    rest.then = std::string(ask_again);
    y = outcome_row(b, rest, y, shown);
  }
  b.height = y + padding - row_gap;
  b.rects.front() = {0, 0, column_width, b.height};
  return b;
}

struct Placed {
  double x = 0, y = 0;
  Block block;
};

Block heading(const PlanCard& card) {
  Block b;
  b.id = "heading";
  constexpr double width = page_width - 2 * margin;
  double y = b.write(card.title, title_face, padding, 0.8, width - 2 * padding, 1);
  y = b.write(card.subject, head_face, padding, y, width - 2 * padding, 1);
  constexpr std::size_t most_notes = 3;
  for (std::size_t n = 0; n < std::min(card.notes.size(), most_notes); ++n)
    y = b.write(card.notes[n], body_face, padding, y + 0.4, width - 2 * padding, 3);
  b.height = y + padding;
  b.rects.push_back({0, 0, width, b.height});
  return b;
}

Block foot(const PlanCard& card, std::size_t shown) {
  Block b;
  b.id = "foot";
  const auto text =
      shown == card.steps.size()
          ? fmt::format(
                "All {} steps of the plan. Where no step follows, ask again with what was "
                "found.",
                shown)
          : fmt::format(
                "The {} likeliest of {} steps. Where no step follows, ask again with what "
                "was found.",
                shown, card.steps.size());
  constexpr double width = page_width - 2 * margin;
  b.height = b.write(text, small_face, padding, 0.4, width - 2 * padding, 1) + 0.4;
  b.rects.push_back({0, 0, width, b.height});
  return b;
}

/// The page with the first steps on it; false if they don't fit in whole.
bool lay_out(const PlanCard& card, std::size_t shown, std::vector<Placed>& page) {
  constexpr double bottom = page_height - margin;
  page.clear();
  const Cautions cautions(card, shown);
  page.push_back({margin, margin, heading(card)});
  const double top = margin + page.back().block.height + gap;
  auto last = foot(card, shown);
  const double foot_top = bottom - last.height;
  page.push_back({margin, foot_top, std::move(last)});
  bool whole = true;
  constexpr double most_cautions = 80;
  auto warnings = cautions.block(most_cautions, whole);
  const double end = foot_top - gap - (warnings.height > 0 ? warnings.height + gap : 0);
  if (warnings.height > 0) {
    const double warnings_top = foot_top - gap - warnings.height;
    page.push_back({margin, warnings_top, std::move(warnings)});
  }
  double ends[] = {top, top};  // of the columns
  std::size_t column = 0;
  for (std::size_t s = 0; s < shown; ++s) {
    auto block = step_block(card.steps[s], s + 1, shown, cautions);
    const auto fits = [&](std::size_t c) { return ends[c] + block.height <= end; };
    // In reading order as long as that goes, then wherever there is room.
    if (!fits(column)) column = column == 0 && s > 0 ? 1 : column;
    const std::size_t chosen = fits(column) ? column : 0;
    if (!fits(chosen)) whole = false;
    const double x = margin + static_cast<double>(chosen) * (column_width + gutter);
    const double y = ends[chosen];
    ends[chosen] += block.height + gap;
    page.push_back({x, y, std::move(block)});
  }
  return whole;
}

std::string drawn(const Placed& item) {
  auto svg = fmt::format("<g id=\"{}\">\n", item.block.id);
  for (const auto& r : item.block.rects)
    svg += fmt::format(
        "<rect x=\"{:.2f}\" y=\"{:.2f}\" width=\"{:.2f}\" height=\"{:.2f}\" fill=\"{}\" "
        "stroke=\"#000\" stroke-width=\"0.25\"/>\n",
        item.x + r.x, item.y + r.y, r.width, r.height, r.filled ? "#000" : "none");
  for (const auto& r : item.block.rules)
    svg +=
        fmt::format("<path d=\"M{:.2f} {:.2f}h{:.2f}\" stroke=\"#000\" stroke-width=\"0.12\"/>\n",
                    item.x + r.x, item.y + r.y, r.width);
  for (const auto& line : item.block.lines) {
    if (line.text.empty()) continue;
    svg += fmt::format("<text x=\"{:.2f}\" y=\"{:.2f}\" font-size=\"{:.2f}\"{}{}>{}</text>\n",
                       item.x + line.x, item.y + line.y, line.face.size,
                       line.face.bold ? " font-weight=\"bold\"" : "",
                       line.inverse ? " fill=\"#fff\"" : "", xml_escaped(line.text));
  }
  return svg + "</g>\n";
}

}  // namespace

std::string plan_card_svg(const PlanCard& card) {
  // One step always fits, and more of them need not take more room than fewer, so all are tried.
  std::vector<Placed> page;
  auto shown = std::min(card.steps.size(), most_steps);
  while (!lay_out(card, shown, page) && shown > 1) --shown;
  auto svg = fmt::format(
      "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
      "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{0:.0f}mm\" height=\"{1:.0f}mm\" "
      "viewBox=\"0 0 {0:.0f} {1:.0f}\" font-family=\"Helvetica, Arial, sans-serif\">\n"
      "<title>{2}</title>\n"
      "<rect id=\"page\" width=\"{0:.0f}\" height=\"{1:.0f}\" fill=\"#fff\"/>\n",
      page_width, page_height, xml_escaped(clean_line(card.title)));
  for (const auto& item : page) svg += drawn(item);
  return svg + "</svg>\n";
}

}  // namespace faultloom::reports
