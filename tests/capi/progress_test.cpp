// Watching long calls and stopping them, at the start and at every later point.
#include "support.hpp"

#include <functional>
#include <thread>
#include <vector>

namespace {

using capi_test::expect_consistent;
using capi_test::Reply;
using capi_test::reply_of;

/// Notes what it is told, and stops at the call with number `stop_at`, counted from 0.
struct Watcher {
  size_t stop_at = static_cast<size_t>(-1);
  std::vector<double> shares;
  std::thread::id thread;

  static int32_t watch(double share, void* user) {
    auto& self = *static_cast<Watcher*>(user);
    self.thread = std::this_thread::get_id();
    self.shares.push_back(share);
    return self.shares.size() > self.stop_at ? 1 : 0;
  }
};

class ProgressTest : public capi_test::WithModel {
 protected:
  struct LongCall {
    const char* name;
    std::function<Reply(faultloom_progress_fn, void*)> run;
  };

  template <typename Ask>
  Reply ask(Ask function, faultloom_progress_fn progress, void* user,
            const std::string& options = "{}") const {
    return reply_of([&](auto** out, auto** error) {
      return function(model(), job_.data(), job_.size(), options.data(), options.size(), progress,
                      user, out, error);
    });
  }

  std::vector<LongCall> long_calls() const {
    return {
        {"rank", [this](auto p, void* u) { return ask(&faultloom_rank, p, u); }},
        {"next_step", [this](auto p, void* u) { return ask(&faultloom_next_step, p, u); }},
        {"plan", [this](auto p, void* u) { return ask(&faultloom_plan, p, u, R"({"depth":2})"); }},
        {"plan_card",
         [this](auto p, void* u) { return ask(&faultloom_plan_card, p, u, R"({"depth":1})"); }},
        {"explain", [this](auto p, void* u) { return ask(&faultloom_explain, p, u); }},
        {"ambiguity",
         [this](auto p, void* u) {
           return ask(&faultloom_ambiguity, p, u, R"({"instruments":["meter"],"top":1})");
         }},
        {"verification",
         [this](auto p, void* u) {
           return reply_of([&](auto** out, auto** error) {
             return faultloom_verification(model(), job_.data(), job_.size(), p, u, out, error);
           });
         }},
        {"close_job",
         [this](auto p, void* u) {
           return ask(&faultloom_close_job, p, u, R"({"verdict":"not_repaired"})");
         }},
        {"testability",
         [](auto p, void* u) {
           const std::string options = R"({"instruments":["meter"],"lifting":true,"top":1})";
           return reply_of([&](auto** out, auto** error) {
             return faultloom_testability(model(), options.data(), options.size(), p, u, out,
                                          error);
           });
         }},
        {"lint",
         [](auto p, void* u) {
           return reply_of([&](auto** out, auto** error) {
             return faultloom_model_lint(model(), p, u, out, error);
           });
         }},
    };
  }

  faultloom_status posteriors(Watcher& watcher, std::vector<double>& values) const {
    size_t needed = 0;
    EXPECT_EQ(faultloom_mode_count(model(), &needed, nullptr), FAULTLOOM_OK);
    values.resize(needed);
    return faultloom_mode_posteriors(model(), job_.data(), job_.size(), &Watcher::watch, &watcher,
                                     values.data(), values.size(), &needed, nullptr);
  }

  std::string job_ = capi_test::small_job();
};

TEST_F(ProgressTest, SharesStartAtZeroAndStayInRange) {
  for (const LongCall& call : long_calls()) {
    SCOPED_TRACE(call.name);
    Watcher watcher;
    const Reply reply = call.run(&Watcher::watch, &watcher);
    ASSERT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
    ASSERT_FALSE(watcher.shares.empty());
    EXPECT_EQ(watcher.shares.front(), 0.0);
    for (size_t i = 1; i < watcher.shares.size(); ++i)
      EXPECT_LE(watcher.shares[i - 1], watcher.shares[i]) << i;
    EXPECT_LE(watcher.shares.back(), 1.0);
    EXPECT_EQ(watcher.thread, std::this_thread::get_id());
  }
}

TEST_F(ProgressTest, StoppingAtTheStart) {
  for (const LongCall& call : long_calls()) {
    SCOPED_TRACE(call.name);
    Watcher watcher;
    watcher.stop_at = 0;
    const Reply reply = call.run(&Watcher::watch, &watcher);
    expect_consistent(reply);
    EXPECT_EQ(reply.status, FAULTLOOM_E_CANCELLED);
    EXPECT_EQ(watcher.shares.size(), 1U) << "asked again after it said stop";
  }
}

TEST_F(ProgressTest, StoppingAnywhereLeavesTheModelSound) {
  for (const LongCall& call : long_calls()) {
    SCOPED_TRACE(call.name);
    Watcher all;
    const std::string expected = call.run(&Watcher::watch, &all).text;
    const size_t stride = 1 + all.shares.size() / 5;  // a handful of places is enough
    for (size_t stop = 0; stop < all.shares.size(); stop += stride) {
      Watcher watcher;
      watcher.stop_at = stop;
      EXPECT_EQ(call.run(&Watcher::watch, &watcher).status, FAULTLOOM_E_CANCELLED) << stop;
    }
    EXPECT_EQ(call.run(nullptr, nullptr).text, expected) << "a stopped call left something behind";
  }
}

TEST_F(ProgressTest, StoppedPosteriorsWriteNothing) {
  Watcher watcher;
  watcher.stop_at = 0;
  std::vector<double> values;
  EXPECT_EQ(posteriors(watcher, values), FAULTLOOM_E_CANCELLED);
  EXPECT_EQ(values, std::vector<double>(values.size(), 0.0));
  Watcher patient;
  EXPECT_EQ(posteriors(patient, values), FAULTLOOM_OK);
  EXPECT_FALSE(patient.shares.empty());
}

TEST_F(ProgressTest, StoppedModelIsNotBuilt) {
  const std::string vehicle = capi_test::small_vehicle();
  Watcher watcher;
  watcher.stop_at = 0;
  faultloom_model* built = nullptr;
  faultloom_error* error = nullptr;
  EXPECT_EQ(
      faultloom_model_from_json(vehicle.data(), vehicle.size(), nullptr, 0, nullptr, 0, nullptr, 0,
                                nullptr, 0, &Watcher::watch, &watcher, &built, &error),
      FAULTLOOM_E_CANCELLED);
  const capi_test::ErrorOwner owner(error);
  EXPECT_EQ(faultloom_error_code(error), FAULTLOOM_E_CANCELLED);
  EXPECT_EQ(built, nullptr);
}

TEST_F(ProgressTest, AWatcherMayCallTheLibraryItself) {
  const auto nested = [](double, void*) -> int32_t {
    size_t count = 0;
    return faultloom_terminal_count(model(), &count, nullptr) == FAULTLOOM_OK && count > 0 ? 0 : 1;
  };
  EXPECT_EQ(ask(&faultloom_rank, +nested, nullptr).status, FAULTLOOM_OK);
}

}  // namespace
