// Memory that runs out at the n-th allocation of a call. This file replaces the allocation functions of
// the test program, which the shared library then uses too.
#include "support.hpp"
#include "support/scratch.hpp"

#include <atomic>
#include <cstdlib>
#include <functional>
#include <new>
#include <string>

namespace {

// Allocations of this thread that still succeed; negative: all of them.
thread_local long allocations_left = -1;

// Two kinds of small pieces are let through, because the code that asks for them can't report a failure;
// faultloom.h says so. Taking a JSON value apart needs memory inside a destructor, in pieces of as many bytes
// as its values have. The schema library uses the allocation that does not throw, and never looks at the
// result.
constexpr std::size_t json_bytes = sizeof(nlohmann::json);

std::atomic<long> in_use = 0;

/// Limits the allocations of this thread as long as it lives.
class Limit {
 public:
  explicit Limit(long allocations) { allocations_left = allocations; }
  ~Limit() { allocations_left = -1; }
  Limit(const Limit&) = delete;
  Limit& operator=(const Limit&) = delete;
};

void* take(std::size_t size) noexcept {
  void* memory = std::malloc(size == 0 ? 1 : size);
  if (memory != nullptr) in_use.fetch_add(1, std::memory_order_relaxed);
  return memory;
}

void give_back(void* memory) noexcept {
  if (memory != nullptr) in_use.fetch_sub(1, std::memory_order_relaxed);
  std::free(memory);
}

void* allocate(std::size_t size) noexcept {
  if (size % json_bytes != 0) {
    if (allocations_left == 0) return nullptr;
    if (allocations_left > 0) --allocations_left;
  }
  return take(size);
}

}  // namespace

void* operator new(std::size_t size) {
  if (void* memory = allocate(size)) return memory;
  throw std::bad_alloc();
}
void* operator new[](std::size_t size) { return operator new(size); }
void* operator new(std::size_t size, const std::nothrow_t&) noexcept { return take(size); }
void* operator new[](std::size_t size, const std::nothrow_t&) noexcept { return take(size); }
void operator delete(void* memory) noexcept { give_back(memory); }
void operator delete[](void* memory) noexcept { give_back(memory); }
void operator delete(void* memory, std::size_t) noexcept { give_back(memory); }
void operator delete[](void* memory, std::size_t) noexcept { give_back(memory); }

long capi_test::pieces_in_use() { return in_use.load(); }

namespace {

class Allocation : public capi_test::WithModel {
 protected:
  /// Repeats a call with memory for 0, 1, 2, ... allocations until it succeeds, at growing steps.
  /// Each failure must be reported as such and leave everything as it was.
  /// `after` looks at what is left when memory is there again.
  static void exhaust(
      const std::function<faultloom_status(faultloom_error**)>& call,
      const std::function<void(faultloom_status)>& after = [](faultloom_status) {}) {
    size_t failures = 0;
    for (long n = 0;; n += 1 + n / 8) {
      faultloom_error* error = nullptr;
      faultloom_status status = FAULTLOOM_OK;
      {
        const Limit limit(n);
        status = call(&error);
      }
      const capi_test::ErrorOwner owner(error);
      after(status);
      if (status == FAULTLOOM_OK) break;
      ++failures;
      ASSERT_EQ(status, FAULTLOOM_E_MEMORY) << n << ": " << faultloom_error_message(error);
      ASSERT_EQ(faultloom_error_code(error), FAULTLOOM_E_MEMORY);
      ASSERT_STRNE(faultloom_error_message(error), "");
    }
    EXPECT_GT(failures, 0U) << "the limit had no effect";
  }

  /// The same for a question: what is answered before and after the failures is the same.
  static void expect_nothing_left_behind(decltype(&faultloom_rank) question,
                                         const std::string& document, const std::string& options) {
    const auto ask = [&](faultloom_error** error, std::string* answer) {
      faultloom_text* text = nullptr;
      const auto status = question(model(), document.data(), document.size(), options.data(),
                                   options.size(), nullptr, nullptr, &text, error);
      EXPECT_EQ(text != nullptr, status == FAULTLOOM_OK);
      if (answer != nullptr) *answer = faultloom_text_data(text);
      faultloom_text_free(text);
      return status;
    };
    std::string before;
    std::string after;
    ASSERT_EQ(ask(nullptr, &before), FAULTLOOM_OK);
    exhaust([&](faultloom_error** error) { return ask(error, nullptr); });
    ASSERT_EQ(ask(nullptr, &after), FAULTLOOM_OK);
    EXPECT_EQ(after, before) << "a failed call left something behind";
  }
};

TEST_F(Allocation, FailureWhileBuildingAModel) {
  const std::string vehicle = capi_test::small_vehicle();
  exhaust([&](faultloom_error** error) {
    faultloom_model* built = nullptr;
    const auto status =
        faultloom_model_from_json(vehicle.data(), vehicle.size(), nullptr, 0, nullptr, 0, nullptr,
                                  0, nullptr, 0, nullptr, nullptr, &built, error);
    EXPECT_EQ(built != nullptr, status == FAULTLOOM_OK);
    faultloom_model_free(built);
    return status;
  });
}

TEST_F(Allocation, FailureWhileSolving) {
  const std::string situation = R"({"state":{"key":"on"},"modes":["W1/open"]})";
  exhaust([&](faultloom_error** error) {
    faultloom_text* text = nullptr;
    const auto status = faultloom_solve(model(), situation.data(), situation.size(), &text, error);
    EXPECT_EQ(text != nullptr, status == FAULTLOOM_OK);
    faultloom_text_free(text);
    return status;
  });
}

TEST_F(Allocation, FailureWhileRankingAndAdvising) {
  struct Question {
    decltype(&faultloom_rank) ask;
    std::string options;
  };
  const std::string job = capi_test::small_job();
  // A short search takes the same ways as a long one.
  const std::string short_search = R"({"budget_sets":200})";
  for (const auto& question :
       {Question{&faultloom_rank, short_search}, Question{&faultloom_explain, short_search},
        Question{&faultloom_next_step, R"({"alternatives":1})"},
        Question{&faultloom_plan_card, R"({"depth":1,"residual":0.3,"alternatives":0})"}}) {
    expect_nothing_left_behind(question.ask, job, question.options);
  }
}

TEST_F(Allocation, FailureWhileRankingManyJobs) {
  const std::string jobs = "[" + capi_test::small_job() + "," +
                           R"({"format":"faultloom.job","version":"1.0","id":"new",)" +
                           R"("vehicle":"mulch-tug","entries":[]}])";
  for (const std::string options :
       {R"({"screen_bound":1,"full":false})", R"({"screen":false,"budget_sets":200})"}) {
    expect_nothing_left_behind(&faultloom_model_rank_jobs, jobs, options);
  }
}

TEST_F(Allocation, FailureWhileWorkingOutWhatCanBeToldApart) {
  const std::string options = R"({"allow_live":false,"top":1})";  // quick, and the same ways
  exhaust([&](faultloom_error** error) {
    faultloom_text* text = nullptr;
    const auto status = faultloom_testability(model(), options.data(), options.size(), nullptr,
                                              nullptr, &text, error);
    EXPECT_EQ(text != nullptr, status == FAULTLOOM_OK);
    faultloom_text_free(text);
    return status;
  });
}

TEST_F(Allocation, FailureWhileGroupingSuspects) {
  const std::string text =
      R"({"format":"faultloom.job","version":"1.0","id":"new","vehicle":"mulch-tug","entries":[]})";
  const std::string options = R"({"allow_live":false,"top":1})";
  exhaust([&](faultloom_error** error) {
    faultloom_text* answer = nullptr;
    const auto status = faultloom_ambiguity(model(), text.data(), text.size(), options.data(),
                                            options.size(), nullptr, nullptr, &answer, error);
    EXPECT_EQ(answer != nullptr, status == FAULTLOOM_OK);
    faultloom_text_free(answer);
    return status;
  });
}

TEST_F(Allocation, FailureWhileVerifyingAndClosing) {
  const std::string job =
      R"({"format":"faultloom.job","version":"1.0","id":"new","vehicle":"mulch-tug",)"
      R"("entries":[{"id":"e1","type":"repair","component":"W7"}]})";
  const std::string closing = R"({"verdict":"not_repaired","note":"waits for a part"})";
  exhaust([&](faultloom_error** error) {
    faultloom_text* answer = nullptr;
    const auto status =
        faultloom_verification(model(), job.data(), job.size(), nullptr, nullptr, &answer, error);
    EXPECT_EQ(answer != nullptr, status == FAULTLOOM_OK);
    faultloom_text_free(answer);
    return status;
  });
  exhaust([&](faultloom_error** error) {
    faultloom_text* answer = nullptr;
    const auto status = faultloom_close_job(model(), job.data(), job.size(), closing.data(),
                                            closing.size(), nullptr, nullptr, &answer, error);
    EXPECT_EQ(answer != nullptr, status == FAULTLOOM_OK);
    faultloom_text_free(answer);
    return status;
  });
}

TEST_F(Allocation, FailureWhileAJobGrows) {
  faultloom_job* job = nullptr;
  exhaust([&](faultloom_error** error) { return faultloom_job_new(model(), "j", 1, &job, error); });
  const auto text_of = [&] {
    faultloom_text* text = nullptr;
    EXPECT_EQ(faultloom_job_json(job, &text, nullptr), FAULTLOOM_OK);
    const capi_test::TextOwner owner(text);
    return std::string(faultloom_text_data(text));
  };
  auto before = text_of();
  const auto changed_only_if_fine = [&](faultloom_status status) {
    EXPECT_EQ(text_of() != before, status == FAULTLOOM_OK) << "a failed call left something behind";
  };
  const std::string entry = R"({"type":"look","component":"W7","outcome":"clean"})";
  exhaust(
      [&](faultloom_error** error) {
        const char* id = nullptr;
        return faultloom_job_add_entry(job, entry.data(), entry.size(), &id, error);
      },
      changed_only_if_fine);
  before = text_of();
  exhaust([&](faultloom_error** error) { return faultloom_job_withdraw(job, "e1", 2, error); },
          changed_only_if_fine);
  faultloom_job_free(job);
}

TEST_F(Allocation, FailureWhileAJournalGrows) {
  const Scratch scratch;
  const std::string path = scratch.path("j.journal");
  const std::string document = capi_test::small_job();
  faultloom_journal* journal = nullptr;
  exhaust(
      [&](faultloom_error** error) {
        return faultloom_journal_create(path.data(), path.size(), model(), document.data(),
                                        document.size(), &journal, error);
      },
      [&](faultloom_status status) {
        EXPECT_EQ(scratch.count(), status == FAULTLOOM_OK ? 1U : 0U);
      });
  const std::string change = R"({"add":[{"type":"look","component":"W7","outcome":"clean"}]})";
  const auto before = bytes_of(path);
  faultloom_text* added = nullptr;
  exhaust(
      [&](faultloom_error** error) {
        return faultloom_journal_append(journal, change.data(), change.size(), &added, error);
      },
      [&](faultloom_status status) {
        EXPECT_EQ(bytes_of(path) != before, status == FAULTLOOM_OK)
            << "what was added was reported as failed, or the other way round";
      });
  faultloom_text_free(added);
  faultloom_journal_free(journal);
  exhaust([&](faultloom_error** error) {
    const auto status = faultloom_journal_open(path.data(), path.size(), model(), &journal, error);
    faultloom_journal_free(journal);
    return status;
  });
}

TEST_F(Allocation, FailureInTheFirstQuestion) {
  // A model that has answered before keeps its work spaces, so the first question takes other ways.
  const std::string vehicle = capi_test::small_vehicle();
  const std::string job = capi_test::small_job();
  faultloom_status status = FAULTLOOM_E_MEMORY;
  for (long n = 0; status != FAULTLOOM_OK; n += 1 + n) {
    const auto fresh = capi_test::build(vehicle);
    faultloom_text* text = nullptr;
    {
      const Limit limit(n);
      status = faultloom_rank(fresh.get(), job.data(), job.size(), nullptr, 0, nullptr, nullptr,
                              &text, nullptr);
    }
    const capi_test::TextOwner owner(text);
    ASSERT_TRUE(status == FAULTLOOM_OK || status == FAULTLOOM_E_MEMORY) << status;
    ASSERT_EQ(text != nullptr, status == FAULTLOOM_OK);
  }
}

TEST_F(Allocation, NothingLeftForTheErrorItself) {
  // The message of a refused argument needs memory. With none, the error says so instead.
  for (long n = 0; n < 40; ++n) {
    faultloom_error* error = nullptr;
    faultloom_status status = FAULTLOOM_OK;
    {
      const Limit limit(n);
      status = faultloom_model_summary(nullptr, nullptr, &error);
    }
    const capi_test::ErrorOwner owner(error);
    ASSERT_TRUE(status == FAULTLOOM_E_MEMORY || status == FAULTLOOM_E_ARGUMENT) << status;
    ASSERT_EQ(faultloom_error_code(error), status);
    ASSERT_TRUE(nlohmann::json::accept(faultloom_error_details(error)));
    ASSERT_TRUE(n > 0 || status == FAULTLOOM_E_MEMORY);
  }
}

}  // namespace
