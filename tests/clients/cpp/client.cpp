// The reference job through the C interface, in C++17 with owners for its handles. See ../README.md for
// what is written.
#include <faultloom.h>

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <iterator>
#include <memory>
#include <stdexcept>
#include <string>
#include <vector>

namespace {

namespace fs = std::filesystem;

template <auto release>
struct Free {
  template <typename T>
  void operator()(T* handle) const {
    release(handle);
  }
};
using Model = std::unique_ptr<faultloom_model, Free<faultloom_model_free>>;
using Text = std::unique_ptr<faultloom_text, Free<faultloom_text_free>>;
using Error = std::unique_ptr<faultloom_error, Free<faultloom_error_free>>;

std::string read(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  if (!file) throw std::runtime_error("can't read " + path.string());
  return {std::istreambuf_iterator<char>(file), {}};
}

void write(const fs::path& path, const std::string& text) {
  std::ofstream file(path, std::ios::binary);
  if (!(file << text)) throw std::runtime_error("can't write " + path.string());
}

/// Runs `call(faultloom_error**)` and throws what it says.
template <typename Call>
void checked(Call&& call) {
  faultloom_error* raw = nullptr;
  const faultloom_status status = call(&raw);
  const Error error(raw);
  if (status != FAULTLOOM_OK) throw std::runtime_error(faultloom_error_message(raw));
}

Model load(const std::string& vehicle) {
  faultloom_model* model = nullptr;
  checked([&](faultloom_error** error) {
    return faultloom_model_from_json(vehicle.data(), vehicle.size(), nullptr, 0, nullptr, 0,
                                     nullptr, 0, nullptr, 0, nullptr, nullptr, &model, error);
  });
  return Model(model);
}

/// An answer in full: `ask` is rank or next_step.
template <typename Ask>
std::string answer(Ask ask, const Model& model, const std::string& job, const std::string& options,
                   faultloom_progress_fn progress = nullptr, void* user = nullptr) {
  faultloom_text* text = nullptr;
  checked([&](faultloom_error** error) {
    return ask(model.get(), job.data(), job.size(), options.data(), options.size(), progress, user,
               &text, error);
  });
  const Text owner(text);
  return {faultloom_text_data(text), faultloom_text_size(text)};
}

struct Watcher {
  std::vector<double> shares;
  std::size_t stop_at = 0;

  static int32_t watch(double share, void* user) {
    auto& self = *static_cast<Watcher*>(user);
    self.shares.push_back(share);
    return self.shares.size() == self.stop_at ? 1 : 0;
  }
};

std::string line(const std::string& name, const std::vector<double>& values) {
  std::string text = name;
  char number[40];
  for (const double value : values) {
    std::snprintf(number, sizeof number, " %.17g", value);
    text += number;
  }
  return text + '\n';
}

template <typename Count, typename Name>
std::string names(const std::string& title, const Model& model, Count count, Name name) {
  std::size_t number = 0;
  checked([&](auto** error) { return count(model.get(), &number, error); });
  std::string text = title + ' ' + std::to_string(number);
  for (const std::size_t index : {std::size_t{0}, number - 1}) {
    const char* value = nullptr;
    checked([&](auto** error) { return name(model.get(), index, &value, error); });
    text += std::string(" ") + value;
  }
  return text + '\n';
}

/// All elements of an array function `call(values, capacity, needed, error)`.
template <typename Call>
std::vector<double> all_of(Call&& call) {
  std::size_t needed = 0;
  checked([&](auto** error) { return call(nullptr, 0, &needed, error); });
  std::vector<double> values(needed);
  checked([&](auto** error) { return call(values.data(), values.size(), &needed, error); });
  return values;
}

std::string arrays(const Model& model, const std::string& job) {
  const std::string situation = R"({"state":{"key":"on"}})";
  const auto volts = all_of([&](double* values, std::size_t room, std::size_t* needed, auto** e) {
    return faultloom_terminal_volts(model.get(), situation.data(), situation.size(), values, room,
                                    needed, e);
  });
  const auto chances = all_of([&](double* values, std::size_t room, std::size_t* needed, auto** e) {
    return faultloom_mode_posteriors(model.get(), job.data(), job.size(), nullptr, nullptr, values,
                                     room, needed, e);
  });
  return line("volts", volts) + line("posteriors", chances);
}

std::string stopped(const Model& model, const std::string& job, const std::string& options) {
  Watcher watcher;
  watcher.stop_at = 3;
  faultloom_text* text = nullptr;
  faultloom_error* raw = nullptr;
  const faultloom_status status =
      faultloom_next_step(model.get(), job.data(), job.size(), options.data(), options.size(),
                          &Watcher::watch, &watcher, &text, &raw);
  const Error error(raw);
  if (text != nullptr) throw std::runtime_error("a stopped call left an answer");
  return "cancelled " + std::to_string(status) + ' ' + std::to_string(watcher.shares.size()) + '\n';
}

std::string refusals(const std::string& broken, const fs::path& folder) {
  const auto refused = [](const char* vehicle, std::size_t size) {
    faultloom_model* model = nullptr;
    faultloom_error* error = nullptr;
    faultloom_model_from_json(vehicle, size, nullptr, 0, nullptr, 0, nullptr, 0, nullptr, 0,
                              nullptr, nullptr, &model, &error);
    const Model owner(model);
    if (owner || error == nullptr) throw std::runtime_error("a broken vehicle loads");
    return Error(error);
  };
  const Error error = refused(broken.data(), broken.size());
  const Error missing = refused(nullptr, 0);
  const faultloom_status code = faultloom_error_code(error.get());
  write(folder / "details.json", faultloom_error_details(error.get()));
  return "error " + std::to_string(code) + ' ' + faultloom_status_name(code) + ' ' +
         faultloom_error_pointer(error.get()) + "\nmessage " +
         faultloom_error_message(error.get()) + "\nmissing " +
         std::to_string(faultloom_error_code(missing.get())) + ' ' +
         faultloom_error_message(missing.get()) + '\n';
}

void run(const fs::path& vehicle, const fs::path& job_path, const fs::path& broken,
         const fs::path& folder) {
  const Model model = load(read(vehicle));
  const std::string job = read(job_path);
  std::string facts = std::string("version ") + faultloom_version() + '\n';
  facts += "abi " + std::to_string(faultloom_abi_version()) + '\n';
  facts += names("terminals", model, faultloom_terminal_count, faultloom_terminal_name);
  facts += names("modes", model, faultloom_mode_count, faultloom_mode_name);
  facts += arrays(model, job);
  write(folder / "ranking.json",
        answer(faultloom_rank, model, job, R"({"top":10,"budget_sets":500})"));
  const std::string options = R"({"alternatives":1})";
  Watcher watcher;
  write(folder / "step.json",
        answer(faultloom_next_step, model, job, options, &Watcher::watch, &watcher));
  facts += line("shares", watcher.shares);
  facts += stopped(model, job, options);
  facts += refusals(read(broken), folder);
  write(folder / "facts.txt", facts);
}

}  // namespace

int main(int argc, char** argv) {
  try {
    if (argc != 5) throw std::runtime_error("usage: client VEHICLE JOB BROKEN FOLDER");
    run(argv[1], argv[2], argv[3], argv[4]);
    return 0;
  } catch (const std::exception& problem) {
    std::cerr << problem.what() << '\n';
    return 1;
  }
}
