#pragma once

#include <faultloom.h>

#include <gtest/gtest.h>
#include <cstddef>
#include <fstream>
#include <iterator>
#include <memory>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <string>

/// What the tests of the C interface share: owners for its handles, and calls that return all there is.
namespace capi_test {

struct Free {
  void operator()(faultloom_model* model) const { faultloom_model_free(model); }
  void operator()(faultloom_text* text) const { faultloom_text_free(text); }
  void operator()(faultloom_error* error) const { faultloom_error_free(error); }
};
using ModelOwner = std::unique_ptr<faultloom_model, Free>;
using TextOwner = std::unique_ptr<faultloom_text, Free>;
using ErrorOwner = std::unique_ptr<faultloom_error, Free>;

inline std::string read_file(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  if (!file) throw std::runtime_error("can't open " + path);
  return {std::istreambuf_iterator<char>(file), {}};
}

/// Text of a file below data/.
inline std::string data(const std::string& path) {
  return read_file(std::string(FAULTLOOM_DATA_DIR) + "/" + path);
}

inline std::string small_vehicle() { return data("vehicles/mulch-tug.json"); }
inline std::string small_job() { return data("jobs/compost-yard-dead-tug.json"); }

/// How many pieces of memory from operator new are in use, of the library and of the test together.
/// Defined in allocation_test.cpp, which replaces the operator.
long pieces_in_use();

/// All that came back from a call whose answer is a text.
struct Reply {
  faultloom_status status = FAULTLOOM_E_INTERNAL;
  bool has_text = false;
  bool has_error = false;
  std::string text;
  faultloom_status code = FAULTLOOM_OK;
  std::string message;
  std::string pointer;
  nlohmann::json details;
};

/// Runs `call(faultloom_text**, faultloom_error**)`. Both outputs start as rubbish that must not survive.
template <typename Call>
Reply reply_of(Call&& call) {
  int rubbish = 0;
  auto* text = reinterpret_cast<faultloom_text*>(&rubbish);
  auto* error = reinterpret_cast<faultloom_error*>(&rubbish);
  Reply reply;
  reply.status = call(&text, &error);
  const TextOwner text_owner(text);
  const ErrorOwner error_owner(error);
  reply.has_text = text != nullptr;
  reply.has_error = error != nullptr;
  reply.text.assign(faultloom_text_data(text), faultloom_text_size(text));
  reply.code = faultloom_error_code(error);
  reply.message = faultloom_error_message(error);
  reply.pointer = faultloom_error_pointer(error);
  reply.details = nlohmann::json::parse(faultloom_error_details(error));
  return reply;
}

/// Builds a model from a vehicle and the documents that come with the library.
inline ModelOwner build(const std::string& vehicle) {
  faultloom_model* model = nullptr;
  faultloom_error* error = nullptr;
  const faultloom_status status =
      faultloom_model_from_json(vehicle.data(), vehicle.size(), nullptr, 0, nullptr, 0, nullptr, 0,
                                nullptr, 0, nullptr, nullptr, &model, &error);
  const ErrorOwner owner(error);
  EXPECT_EQ(status, FAULTLOOM_OK) << faultloom_error_message(error);
  return ModelOwner(model);
}

/// A status must come with an error of the same code, a message and a list of problems, or with neither.
inline void expect_consistent(const Reply& reply) {
  EXPECT_EQ(reply.has_text, reply.status == FAULTLOOM_OK);
  EXPECT_EQ(reply.has_error, reply.status != FAULTLOOM_OK);
  EXPECT_EQ(reply.code, reply.status);
  ASSERT_TRUE(reply.details.is_array());
  EXPECT_EQ(reply.details.empty(), reply.status == FAULTLOOM_OK);
  if (reply.details.empty()) return;
  EXPECT_EQ(reply.details[0]["number"], reply.status);
  EXPECT_EQ(reply.details[0]["code"], faultloom_status_name(reply.status));
  EXPECT_EQ(reply.details[0]["message"], reply.message);
  EXPECT_EQ(reply.details[0]["pointer"], reply.pointer);
  EXPECT_FALSE(reply.message.empty());
  EXPECT_EQ(reply.message.find('\n'), std::string::npos);
}

/// Tests that need a model; it is built once.
class WithModel : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    owner() = build(small_vehicle());
    ASSERT_NE(owner(), nullptr);
  }
  static void TearDownTestSuite() { owner().reset(); }

  static const faultloom_model* model() { return owner().get(); }

 private:
  static ModelOwner& owner() {
    static ModelOwner model;
    return model;
  }
};

}  // namespace capi_test
