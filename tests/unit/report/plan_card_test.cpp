// The page of a plan, for content that no vehicle has: it stays one page of well-formed text.
#include <faultloom/report/plan_card.hpp>
#include <faultloom/report/text_lines.hpp>

#include <gtest/gtest.h>

#include <regex>

namespace faultloom::reports {
namespace {

std::string times(std::string_view text, std::size_t count) {
  std::string all;
  for (std::size_t i = 0; i < count; ++i) all += text;
  return all;
}

struct Box {
  std::string id;
  double left = 0, top = 0, right = 0, bottom = 0;
};

/// The frame of each group, which is its largest rectangle, and whether its texts start within it.
std::vector<Box> frames(const std::string& svg) {
  static const std::regex group(R"re(<g id="([^"]*)">\n((?:<[^g/].*\n)*)</g>)re");
  static const std::regex rect(
      R"re(<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)")re");
  static const std::regex text(R"re(<text x="([\d.]+)" y="([\d.]+)")re");
  std::vector<Box> boxes;
  for (std::sregex_iterator g(svg.begin(), svg.end(), group), end; g != end; ++g) {
    Box box;
    box.id = (*g)[1];
    const auto body = (*g)[2].str();
    for (std::sregex_iterator r(body.begin(), body.end(), rect); r != end; ++r) {
      const double x = std::stod((*r)[1]);
      const double y = std::stod((*r)[2]);
      const double width = std::stod((*r)[3]);
      const double height = std::stod((*r)[4]);
      if (width * height > (box.right - box.left) * (box.bottom - box.top))
        box = {box.id, x, y, x + width, y + height};
    }
    for (std::sregex_iterator t(body.begin(), body.end(), text); t != end; ++t) {
      EXPECT_GE(std::stod((*t)[1]), box.left);
      EXPECT_LE(std::stod((*t)[2]), box.bottom) << box.id;
    }
    boxes.push_back(box);
  }
  return boxes;
}

void expect_one_page(const std::string& svg) {
  const auto boxes = frames(svg);
  ASSERT_GE(boxes.size(), 2U);
  std::size_t groups = 0;
  for (auto at = svg.find("<g id="); at != std::string::npos; at = svg.find("<g id=", at + 1))
    ++groups;
  EXPECT_EQ(boxes.size(), groups);
  for (std::size_t i = 0; i < boxes.size(); ++i) {
    const auto& a = boxes[i];
    EXPECT_GE(a.left, 0);
    EXPECT_GE(a.top, 0);
    EXPECT_LE(a.right, 210) << a.id;
    EXPECT_LE(a.bottom, 297) << a.id;
    for (std::size_t k = 0; k < i; ++k) {
      const auto& b = boxes[k];
      const bool apart =
          a.right <= b.left || b.right <= a.left || a.bottom <= b.top || b.bottom <= a.top;
      EXPECT_TRUE(apart) << a.id << " covers " << b.id;
    }
  }
}

PlanCard card_with(const std::string& text, std::size_t steps, std::size_t cautions) {
  PlanCard card{text, text, {text, text, text, text}, {}};
  for (std::size_t s = 0; s < steps; ++s) {
    CardStep step;
    step.where = text;
    step.price = text;
    step.what.assign(9, text);
    for (std::size_t c = 0; c < cautions; ++c)
      step.cautions.push_back({"WARNING", std::to_string(c) + text});
    step.outcomes.assign(12, {text, text, text, text, s + 2});
    card.steps.push_back(std::move(step));
  }
  return card;
}

TEST(PlanCard, StaysOnePageWhateverItSays) {
  const std::string nul("a\0b", 3);
  for (const auto& text :
       {std::string(), std::string("short"), times("a word ", 500), times("unbroken", 500),
        times("\xe4\xb8\x96", 400), times("\xf0\x9f\x9a\x9c ", 300), times("<&>\"'", 100),
        std::string("\xff\xfe\xc0\x80 cut \xe4\xb8"), nul})
    for (const std::size_t steps : {0U, 1U, 2U, 40U})
      for (const std::size_t cautions : {0U, 3U, 60U})
        expect_one_page(plan_card_svg(card_with(text, steps, cautions)));
}

TEST(PlanCard, ShowsAsManyStepsAsFit) {
  const auto few = plan_card_svg(card_with("short", 3, 2));
  EXPECT_NE(few.find("id=\"step-3\""), std::string::npos);
  EXPECT_NE(few.find("Go on at step 2."), std::string::npos);
  EXPECT_EQ(few.find("Go on at step 4."), std::string::npos) << "there is none";
  const auto many = plan_card_svg(card_with("short", 40, 2));
  EXPECT_NE(many.find("id=\"step-4\""), std::string::npos);
  EXPECT_EQ(many.find("id=\"step-24\""), std::string::npos);
  EXPECT_NE(many.find(" likeliest of 40 steps"), std::string::npos);
}

TEST(PlanCard, CautionsAreSortedAndNeverLeftOutInSilence) {
  PlanCard card = card_with("short", 2, 0);
  card.steps[0].cautions = {{"NOTICE", "last"}, {"WARNING", "second"}};
  card.steps[1].cautions = {{"DANGER", "first"}, {"WARNING", "second"}};
  auto svg = plan_card_svg(card);
  EXPECT_LT(svg.find(">first<"), svg.find(">second<"));
  EXPECT_LT(svg.find(">second<"), svg.find(">last<"));
  EXPECT_NE(svg.find(">WARNING B; NOTICE C<"), std::string::npos);
  EXPECT_NE(svg.find(">DANGER A; WARNING B<"), std::string::npos);
  EXPECT_EQ(svg.find("More cautions apply"), std::string::npos);
  svg = plan_card_svg(card_with("a caution", 1, 60));
  EXPECT_NE(svg.find("More cautions apply"), std::string::npos);
}

TEST(TextLines, NoLineIsWiderThanItsRoom) {
  for (const bool bold : {false, true})
    for (const auto& text :
         {times("WWW mmm i ", 30), times("iW", 200), times("\xc3\xa9t\xc3\xa9", 50)}) {
      const Typeface face{2.6, bold};
      const auto clean = clean_line(text);
      std::string joined;
      for (const auto& line : wrapped(clean, face, 40, 1000)) {
        EXPECT_LE(text_width(line, face), 40);
        joined += line;
      }
      auto expected = clean;
      std::erase(expected, ' ');
      std::erase(joined, ' ');
      EXPECT_EQ(joined, expected) << "nothing is lost";
      const auto cut = wrapped(clean, face, 40, 2);
      ASSERT_EQ(cut.size(), 2U);
      EXPECT_LE(text_width(cut.back(), face), 40);
      EXPECT_EQ(cut.back().substr(cut.back().size() - 3), "...");
    }
  EXPECT_EQ(wrapped("", {}, 10, 3), std::vector<std::string>{""});
  EXPECT_EQ(wrapped("one two", {1, false}, 3, 5), (std::vector<std::string>{"one", "two"}));
}

TEST(TextLines, OnlyTextIsLeft) {
  EXPECT_EQ(clean_line(" a\t\n b  "), "a b");
  EXPECT_EQ(clean_line("a\x01"
                       "b\x7f"),
            "a?b?");
  EXPECT_EQ(clean_line("\xe2\x80\xae"
                       "turned"),
            "?turned");
  EXPECT_EQ(clean_line("\xed\xa0\x80"), "???") << "half of a pair is not UTF-8";
  EXPECT_EQ(clean_line("\xc0\xaf"), "??") << "longer than need be";
  EXPECT_EQ(clean_line("\xef\xbf\xbf"), "?") << "not in XML";
  EXPECT_EQ(clean_line("\xc3\xa9 \xe4\xb8\x96"), "\xc3\xa9 \xe4\xb8\x96");
  EXPECT_EQ(clean_line("5\xc2\xa0%"), "5\xc2\xa0%");
  EXPECT_EQ(xml_escaped("<a b='c' d=\"e\">&"), "&lt;a b=&apos;c&apos; d=&quot;e&quot;&gt;&amp;");
}

}  // namespace
}  // namespace faultloom::reports
