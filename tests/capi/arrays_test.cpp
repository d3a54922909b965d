// Names by index, and arrays with room that is missing, too small, exact or too large.
#include "support.hpp"

#include <cmath>
#include <functional>
#include <limits>
#include <vector>

namespace {

using capi_test::ErrorOwner;

class Arrays : public capi_test::WithModel {
 protected:
  using Fill = std::function<faultloom_status(double*, size_t, size_t*, faultloom_error**)>;

  struct Filler {
    const char* name;
    size_t count;
    Fill fill;
  };

  static size_t terminals() {
    size_t count = 0;
    EXPECT_EQ(faultloom_terminal_count(model(), &count, nullptr), FAULTLOOM_OK);
    return count;
  }
  static size_t modes() {
    size_t count = 0;
    EXPECT_EQ(faultloom_mode_count(model(), &count, nullptr), FAULTLOOM_OK);
    return count;
  }

  std::vector<Filler> fillers() const {
    return {
        {"volts", terminals(),
         [](double* v, size_t c, size_t* n, faultloom_error** e) {
           return faultloom_terminal_volts(model(), nullptr, 0, v, c, n, e);
         }},
        {"priors", modes(),
         [](double* v, size_t c, size_t* n, faultloom_error** e) {
           return faultloom_mode_priors(model(), nullptr, 0, v, c, n, e);
         }},
        {"posteriors", modes(),
         [this](double* v, size_t c, size_t* n, faultloom_error** e) {
           return faultloom_mode_posteriors(model(), job_.data(), job_.size(), nullptr, nullptr, v,
                                            c, n, e);
         }},
    };
  }

  std::string job_ = capi_test::small_job();
};

TEST_F(Arrays, NoRoomAsksForTheNumberAlone) {
  for (const Filler& filler : fillers()) {
    SCOPED_TRACE(filler.name);
    size_t needed = 0;
    EXPECT_EQ(filler.fill(nullptr, 0, &needed, nullptr), FAULTLOOM_OK);
    EXPECT_EQ(needed, filler.count);
    EXPECT_GT(needed, 1U);
  }
}

TEST_F(Arrays, TooSmallWritesNothingAndSaysHowMany) {
  for (const Filler& filler : fillers()) {
    SCOPED_TRACE(filler.name);
    std::vector<double> values(filler.count, -7.0);
    size_t needed = 0;
    faultloom_error* error = nullptr;
    EXPECT_EQ(filler.fill(values.data(), filler.count - 1, &needed, &error), FAULTLOOM_E_ARGUMENT);
    const ErrorOwner owner(error);
    EXPECT_EQ(needed, filler.count);
    EXPECT_EQ(values, std::vector<double>(filler.count, -7.0));
    const std::string message = faultloom_error_message(error);
    EXPECT_NE(message.find("'capacity'"), std::string::npos) << message;
    EXPECT_NE(message.find(std::to_string(filler.count)), std::string::npos) << message;
  }
}

TEST_F(Arrays, RoomBeyondTheEndStaysUntouched) {
  for (const Filler& filler : fillers()) {
    SCOPED_TRACE(filler.name);
    const double untouched = std::numeric_limits<double>::infinity();
    std::vector<double> values(filler.count + 3, untouched);
    size_t needed = 0;
    EXPECT_EQ(filler.fill(values.data(), values.size(), &needed, nullptr), FAULTLOOM_OK);
    EXPECT_EQ(needed, filler.count);
    for (size_t i = 0; i < filler.count; ++i) EXPECT_TRUE(std::isfinite(values[i])) << i;
    for (size_t i = filler.count; i < values.size(); ++i) EXPECT_EQ(values[i], untouched) << i;
  }
}

TEST_F(Arrays, FailureInsideLeavesTheValuesAlone) {
  std::vector<double> values(terminals(), -7.0);
  size_t needed = 0;
  EXPECT_EQ(
      faultloom_terminal_volts(model(), "[]", 2, values.data(), values.size(), &needed, nullptr),
      FAULTLOOM_E_SCHEMA);
  EXPECT_EQ(values, std::vector<double>(values.size(), -7.0));
}

TEST_F(Arrays, NamesAreThoseOfTheSummary) {
  const auto reply = capi_test::reply_of(
      [](auto** out, auto** error) { return faultloom_model_summary(model(), out, error); });
  ASSERT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
  const auto summary = nlohmann::json::parse(reply.text);
  ASSERT_EQ(summary["terminals"].size(), terminals());
  for (size_t i = 0; i < terminals(); ++i) {
    const char* name = nullptr;
    ASSERT_EQ(faultloom_terminal_name(model(), i, &name, nullptr), FAULTLOOM_OK);
    EXPECT_EQ(summary["terminals"][i], name);
  }
  ASSERT_EQ(summary["modes"].size(), modes());
  for (size_t i = 0; i < modes(); ++i) {
    const char* name = nullptr;
    ASSERT_EQ(faultloom_mode_name(model(), i, &name, nullptr), FAULTLOOM_OK);
    EXPECT_EQ(summary["modes"][i]["name"], name);
  }
}

TEST_F(Arrays, NoNameBeyondTheEnd) {
  for (const size_t beyond : {terminals(), std::numeric_limits<size_t>::max()}) {
    const char* name = "rubbish";
    faultloom_error* error = nullptr;
    EXPECT_EQ(faultloom_terminal_name(model(), beyond, &name, &error), FAULTLOOM_E_ARGUMENT);
    const ErrorOwner owner(error);
    EXPECT_EQ(name, nullptr);
    EXPECT_NE(std::string(faultloom_error_message(error)).find("'index'"), std::string::npos);
  }
  const char* name = "rubbish";
  EXPECT_EQ(faultloom_mode_name(model(), modes(), &name, nullptr), FAULTLOOM_E_ARGUMENT);
  EXPECT_EQ(name, nullptr);
}

TEST_F(Arrays, VoltsAreThoseOfTheSolution) {
  const std::string situation = R"({"state":{"key":"on"}})";
  std::vector<double> volts(terminals());
  size_t needed = 0;
  ASSERT_EQ(faultloom_terminal_volts(model(), situation.data(), situation.size(), volts.data(),
                                     volts.size(), &needed, nullptr),
            FAULTLOOM_OK);
  const auto reply = capi_test::reply_of([&](auto** out, auto** error) {
    return faultloom_solve(model(), situation.data(), situation.size(), out, error);
  });
  ASSERT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
  const auto solution = nlohmann::json::parse(reply.text);
  for (size_t i = 0; i < volts.size(); ++i) {
    const char* name = nullptr;
    ASSERT_EQ(faultloom_terminal_name(model(), i, &name, nullptr), FAULTLOOM_OK);
    EXPECT_NEAR(solution["volts"][name].get<double>(), volts[i], 1e-9) << name;
  }
}

TEST_F(Arrays, ProbabilitiesAreProbabilities) {
  for (const Filler& filler : fillers()) {
    if (std::string(filler.name) == "volts") continue;
    std::vector<double> values(filler.count);
    size_t needed = 0;
    ASSERT_EQ(filler.fill(values.data(), values.size(), &needed, nullptr), FAULTLOOM_OK);
    for (const double p : values) {
      EXPECT_GE(p, 0.0);
      EXPECT_LE(p, 1.0 + 1e-12);
    }
  }
}

}  // namespace
