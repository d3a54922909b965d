#pragma once

#include "check.hpp"
#include "small.hpp"
#include "support/scratch.hpp"

#include <faultloom.h>
#include <fuzzer/FuzzedDataProvider.h>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <memory>
#include <optional>
#include <string>
#include <vector>

/// Calls of the C interface in an order that the input decides.
namespace fuzz {

struct Free {
  void operator()(faultloom_model* model) const { faultloom_model_free(model); }
  void operator()(faultloom_text* text) const { faultloom_text_free(text); }
  void operator()(faultloom_error* error) const { faultloom_error_free(error); }
  void operator()(faultloom_job* job) const { faultloom_job_free(job); }
  void operator()(faultloom_journal* journal) const { faultloom_journal_free(journal); }
};
template <typename Handle>
using Owner = std::unique_ptr<Handle, Free>;

/// A text as an argument, in memory of its own so that a byte too many is seen.
class Argument {
 public:
  Argument() = default;
  explicit Argument(std::string_view text)
      : bytes_(new char[text.size() + (text.empty() ? 1 : 0)]), size_(text.size()) {
    std::copy(text.begin(), text.end(), bytes_.get());
  }
  /// Says another size than it has; nothing may be read then.
  void pretend(std::size_t size) { size_ = size; }

  [[nodiscard]] const char* data() const { return bytes_.get(); }
  [[nodiscard]] std::size_t size() const { return size_; }

 private:
  std::unique_ptr<char[]> bytes_;
  std::size_t size_ = 0;
};

/// A watcher that stops the work when it was asked often enough, and may make a call itself.
struct Watcher {
  int polls_left = -1;  ///< never if negative
  const faultloom_model* model = nullptr;
  bool stopped = false;
  double share = 0;
};
extern "C" int32_t watch(double share, void* user);

/// The small cart. Never freed within a run, since building one takes longer than most calls.
const faultloom_model* shared_model();

/// What a sequence of calls works on.
class Bench {
 public:
  explicit Bench(std::string_view input);
  Bench(const Bench&) = delete;
  Bench& operator=(const Bench&) = delete;

  /// Makes calls until the input is used up, and frees everything.
  void run();

 private:
  enum class Sort {
    vehicle,
    kinds,
    rates,
    instruments,
    cautions,
    job,
    history,
    situation,
    options,
    closing,
    entry,
    members,
    change,
    csv,
    id,
    journal
  };

  // -- what calls are made with --
  Argument text(Sort sort);
  std::string good(Sort sort);
  template <typename Handle>
  Handle* pick(const std::vector<Owner<Handle>>& pool);
  const faultloom_model* model();
  std::string path();

  /// Makes a call and checks its status against the error that comes with it.
  template <typename Call>
  faultloom_status call(const char* name, Call&& make);
  /// The same for a call that answers with a text; "" if it failed.
  template <typename Call>
  std::string ask(const char* name, const char* format, Call&& make);
  template <typename Call>
  void fill(const char* name, Call&& make);
  void check_error(faultloom_status status, const faultloom_error* error, const char* name);

  // -- one call each, or a few that belong together --
  void library();
  void documents();
  void build_model();
  void about_model();
  void circuit();
  void arrays();
  void question();
  void more_questions();
  void learning();
  void new_job();
  void change_job();
  void close_job();
  void look_at_job();
  void new_journal();
  void change_journal();
  void look_at_journal();
  void tamper();
  void wrong_handle();
  void release();

  FuzzedDataProvider input_;
  Scratch scratch_;
  std::vector<Owner<faultloom_model>> models_;
  std::vector<Owner<faultloom_job>> jobs_;
  std::vector<Owner<faultloom_journal>> journals_;
  Watcher watcher_;
  int work_left_ = 2;  ///< questions that search; more would teach little and take long
};

template <typename Handle>
Handle* Bench::pick(const std::vector<Owner<Handle>>& pool) {
  if (pool.empty() || input_.ConsumeIntegralInRange(0, 15) == 0) return nullptr;
  return pool[input_.ConsumeIntegralInRange<std::size_t>(0, pool.size() - 1)].get();
}

template <typename Call>
faultloom_status Bench::call(const char* name, Call&& make) {
  watcher_.stopped = false;
  if (input_.ConsumeIntegralInRange(0, 31) == 0) {
    const auto status = make(static_cast<faultloom_error**>(nullptr));
    require(std::string_view(faultloom_status_name(status)) != "unknown", "an unknown status",
            name);
    return status;
  }
  int rubbish = 0;
  auto* error = reinterpret_cast<faultloom_error*>(&rubbish);
  const auto status = make(&error);
  const Owner<faultloom_error> owner(error);
  check_error(status, error, name);
  require(!watcher_.stopped || status == FAULTLOOM_E_CANCELLED, "went on after it was stopped",
          name);
  return status;
}

template <typename Call>
std::string Bench::ask(const char* name, const char* format, Call&& make) {
  int rubbish = 0;
  auto* text = reinterpret_cast<faultloom_text*>(&rubbish);
  const bool without = input_.ConsumeIntegralInRange(0, 31) == 0;
  const auto status = call(name, [&](faultloom_error** error) {
    return make(without ? static_cast<faultloom_text**>(nullptr) : &text, error);
  });
  if (without) {
    require(status != FAULTLOOM_OK, "an answer that went nowhere", name);
    return {};
  }
  const Owner<faultloom_text> owner(text);
  require((status == FAULTLOOM_OK) == (text != nullptr), "a status without its answer", name);
  const std::string answer(faultloom_text_data(text), faultloom_text_size(text));
  require(faultloom_text_data(text)[answer.size()] == '\0', "no NUL behind an answer", name);
  if (status != FAULTLOOM_OK || format == nullptr) return answer;
  const auto document = nlohmann::json::parse(answer, nullptr, false);
  require(!document.is_discarded(), "an answer that is not JSON", answer);
  if (*format == '\0') return answer;
  require(document.is_object() && document.value("format", "") == format,
          "an answer of another format", answer.substr(0, 200));
  return answer;
}

/// Fills an array with room that is too small, right or more than enough.
template <typename Call>
void Bench::fill(const char* name, Call&& make) {
  size_t needed = 77;
  auto status = call(name, [&](auto** error) { return make(nullptr, 0, &needed, error); });
  require(status == FAULTLOOM_OK || needed == 0, "a number although it failed", name);
  if (status != FAULTLOOM_OK) return;
  const auto room = input_.ConsumeIntegralInRange<std::size_t>(0, needed + 3);
  constexpr double untouched = -12345;
  std::vector<double> values(room, untouched);
  const bool nowhere = input_.ConsumeIntegralInRange(0, 31) == 0;
  size_t again = 0;
  status = call(name, [&](auto** error) {
    return make(nowhere ? nullptr : values.data(), room, &again, error);
  });
  if (status == FAULTLOOM_OK && room > 0) {
    require(!nowhere && again == needed && room >= needed, "an array of another size", name);
    for (std::size_t i = 0; i < room; ++i)
      require(i < needed ? std::isfinite(values[i]) : values[i] == untouched, "wrong values", name);
  } else {
    require(std::all_of(values.begin(), values.end(), [](double v) { return v == untouched; }),
            "values although it failed", name);
  }
}

}  // namespace fuzz
