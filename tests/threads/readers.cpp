// One model, eight threads that all ask it everything at once; to be built with -fsanitize=thread, which
// reports every pair of accesses without order between them. `readers race` makes such a pair on purpose, to
// show that it would be reported.
#include <faultloom.h>

#include <barrier>
#include <cstdio>
#include <fstream>
#include <functional>
#include <iterator>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

namespace {

constexpr std::ptrdiff_t thread_count = 8;

std::string read(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  if (!file) throw std::runtime_error("can't read " + path);
  return {std::istreambuf_iterator<char>(file), {}};
}

void expect_ok(faultloom_status status) {
  if (status != FAULTLOOM_OK) throw std::runtime_error(faultloom_status_meaning(status));
}

template <typename Call>
std::string text_of(Call&& call) {
  faultloom_text* text = nullptr;
  expect_ok(call(&text));
  std::string value(faultloom_text_data(text), faultloom_text_size(text));
  faultloom_text_free(text);
  return value;
}

int32_t watch(double, void* user) {
  ++*static_cast<int*>(user);
  return 0;
}

std::string ask(decltype(&faultloom_rank) function, const faultloom_model* model,
                const std::string& job, const std::string& options) {
  int asked = 0;
  return text_of([&](faultloom_text** out) {
    return function(model, job.data(), job.size(), options.data(), options.size(), &watch, &asked,
                    out, nullptr);
  });
}

/// One answer of everything that reads a model, as one text.
std::string everything(const faultloom_model* model, const std::string& job) {
  std::string answers = ask(&faultloom_rank, model, job, R"({"budget_sets":100})");
  answers += ask(&faultloom_explain, model, job, R"({"budget_sets":100})");
  answers += ask(&faultloom_next_step, model, job, R"({"instruments":["meter"],"alternatives":0})");
  answers += text_of([&](auto** out) { return faultloom_model_summary(model, out, nullptr); });
  answers += text_of([&](auto** out) {
    return faultloom_verification(model, job.data(), job.size(), nullptr, nullptr, out, nullptr);
  });
  const std::string situation = R"({"state":{"key":"on"},"modes":["W1/open"]})";
  answers += text_of([&](auto** out) {
    return faultloom_solve(model, situation.data(), situation.size(), out, nullptr);
  });
  size_t count = 0;
  expect_ok(faultloom_mode_count(model, &count, nullptr));
  const char* name = nullptr;
  expect_ok(faultloom_mode_name(model, count - 1, &name, nullptr));
  std::vector<double> priors(count);
  expect_ok(
      faultloom_mode_priors(model, job.data(), job.size(), priors.data(), count, &count, nullptr));
  return answers + name + std::to_string(priors.front());
}

/// Runs `work(number)` in eight threads that start together.
void together(const std::function<void(std::ptrdiff_t)>& work) {
  std::barrier start(thread_count);
  std::vector<std::thread> threads;
  for (std::ptrdiff_t i = 0; i < thread_count; ++i)
    threads.emplace_back([&, i] {
      start.arrive_and_wait();
      work(i);
    });
  for (std::thread& thread : threads) thread.join();
}

int run() {
  const std::string data = FAULTLOOM_DATA_DIR;
  const std::string vehicle = read(data + "/vehicles/mulch-tug.json");
  const std::string job = read(data + "/jobs/compost-yard-dead-tug.json");
  faultloom_model* model = nullptr;
  expect_ok(faultloom_model_from_json(vehicle.data(), vehicle.size(), nullptr, 0, nullptr, 0,
                                      nullptr, 0, nullptr, 0, nullptr, nullptr, &model, nullptr));
  std::vector<std::string> answers(thread_count);
  together([&](std::ptrdiff_t i) { answers[static_cast<size_t>(i)] = everything(model, job); });
  const std::string alone = everything(model, job);
  faultloom_model_free(model);
  for (const std::string& answer : answers)
    if (answer != alone) throw std::runtime_error("a thread got another answer");
  std::printf("%td threads, %zu bytes of answers each, all the same\n", thread_count, alone.size());
  return 0;
}

int race() {
  int shared = 0;
  together([&](std::ptrdiff_t i) { shared += static_cast<int>(i); });
  std::printf("%d\n", shared);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return argc == 2 && std::string(argv[1]) == "race" ? race() : run();
  } catch (const std::exception& problem) {
    std::fprintf(stderr, "%s\n", problem.what());
    return 1;
  }
}
