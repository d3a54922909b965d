// Jobs and journals through the C interface: what the header says of them.
#include "support.hpp"
#include "support/scratch.hpp"

#include <string>
#include <vector>

namespace {

using capi_test::reply_of;
using nlohmann::json;

struct FreeJob {
  void operator()(faultloom_job* job) const { faultloom_job_free(job); }
  void operator()(faultloom_journal* journal) const { faultloom_journal_free(journal); }
};
using JobOwner = std::unique_ptr<faultloom_job, FreeJob>;
using JournalOwner = std::unique_ptr<faultloom_journal, FreeJob>;

constexpr const char* look = R"({"type":"look","component":"W7","outcome":"clean"})";

/// A call that only fails or not: what it said.
template <typename Call>
std::string refusal_of(Call&& call) {
  faultloom_error* error = nullptr;
  const auto status = call(&error);
  const capi_test::ErrorOwner owner(error);
  EXPECT_EQ(error == nullptr, status == FAULTLOOM_OK);
  if (status == FAULTLOOM_OK) return "";
  return std::string(faultloom_status_name(status)) + " " + faultloom_error_pointer(error);
}

class Jobs : public capi_test::WithModel {
 protected:
  static JobOwner begun() {
    faultloom_job* job = nullptr;
    EXPECT_EQ(faultloom_job_new(model(), "j", 1, &job, nullptr), FAULTLOOM_OK);
    return JobOwner(job);
  }
  static std::string add(faultloom_job* job, const std::string& entry) {
    const char* id = nullptr;
    const auto said = refusal_of(
        [&](auto** e) { return faultloom_job_add_entry(job, entry.data(), entry.size(), &id, e); });
    EXPECT_EQ(id == nullptr, !said.empty());
    return id != nullptr ? id : said;
  }
  static std::string text_of(const faultloom_job* job) {
    return reply_of([&](auto** out, auto** e) { return faultloom_job_json(job, out, e); }).text;
  }
};

TEST_F(Jobs, GrowAndAreAskedAbout) {
  const auto job = begun();
  EXPECT_EQ(add(job.get(), look), "e1");
  EXPECT_EQ(add(job.get(), R"({"type":"sign","part":"H1","sign":"lit","outcome":"no"})"), "e2");
  EXPECT_EQ(add(job.get(), R"({"type":"repair","component":"W7"})"), "e3");
  EXPECT_EQ(refusal_of([&](auto** e) { return faultloom_job_withdraw(job.get(), "e1", 2, e); }),
            "");
  size_t count = 0;
  ASSERT_EQ(faultloom_job_entry_count(job.get(), &count, nullptr), FAULTLOOM_OK);
  EXPECT_EQ(count, 3U);
  const auto text = text_of(job.get());
  EXPECT_EQ(json::parse(text)["withdrawn"], json::array({"e1"}));
  EXPECT_EQ(json::parse(text)["vehicle"], "mulch-tug");
  const std::string few = R"({"budget_sets":200})";
  const auto ranking = reply_of([&](auto** out, auto** e) {
    return faultloom_rank(model(), text.data(), text.size(), few.data(), few.size(), nullptr,
                          nullptr, out, e);
  });
  EXPECT_EQ(ranking.status, FAULTLOOM_OK) << ranking.message;
}

TEST_F(Jobs, OutliveTheirModel) {
  auto short_lived = capi_test::build(capi_test::small_vehicle());
  faultloom_job* made = nullptr;
  ASSERT_EQ(faultloom_job_new(short_lived.get(), "j", 1, &made, nullptr), FAULTLOOM_OK);
  const JobOwner job(made);
  short_lived.reset();
  EXPECT_EQ(add(job.get(), look), "e1");
  EXPECT_EQ(add(job.get(), R"({"type":"look","component":"W999","outcome":"clean"})"),
            "reference /component");
}

TEST_F(Jobs, RefuseWhatIsWrongAndStayAsTheyWere) {
  const auto job = begun();
  EXPECT_EQ(add(job.get(), look), "e1");
  const auto before = text_of(job.get());
  EXPECT_EQ(add(job.get(), R"({"id":"e1","type":"look","component":"W7","outcome":"clean"})"),
            "duplicate /id");
  EXPECT_EQ(add(job.get(), R"({"type":"look","component":"W7","outcome":"odd"})"),
            "schema /outcome");
  EXPECT_EQ(refusal_of([&](auto** e) { return faultloom_job_withdraw(job.get(), "e9", 2, e); }),
            "reference ");
  EXPECT_EQ(refusal_of([&](auto** e) { return faultloom_job_withdraw(job.get(), "\xFF", 1, e); }),
            "reference ");
  const std::string members = R"({"vehicle":"x"})";
  EXPECT_EQ(refusal_of([&](auto** e) {
              return faultloom_job_set(job.get(), members.data(), members.size(), e);
            }),
            "value /vehicle");
  EXPECT_EQ(text_of(job.get()), before);
  faultloom_job* none = nullptr;
  EXPECT_EQ(refusal_of([&](auto** e) { return faultloom_job_new(model(), "9", 1, &none, e); }),
            "schema /id");
  EXPECT_EQ(none, nullptr);
}

TEST_F(Jobs, AreTakenUpAndClosed) {
  const auto document = capi_test::small_job();
  faultloom_job* made = nullptr;
  ASSERT_EQ(faultloom_job_from_json(model(), document.data(), document.size(), &made, nullptr),
            FAULTLOOM_OK);
  const JobOwner job(made);
  EXPECT_EQ(json::parse(text_of(job.get())), json::parse(document));
  const auto close = [&](const std::string& closing) {
    return refusal_of([&](auto** e) {
      return faultloom_job_close(job.get(), closing.data(), closing.size(), nullptr, nullptr, e);
    });
  };
  EXPECT_EQ(close(R"({"verdict":"repaired"})"), "not_verified ");
  EXPECT_EQ(json::parse(text_of(job.get())), json::parse(document));
  EXPECT_EQ(close(R"({"verdict":"not_repaired","note":"waits for a part"})"), "");
  EXPECT_EQ(json::parse(text_of(job.get()))["closing"]["verdict"], "not_repaired");
  EXPECT_EQ(add(job.get(), look), "value ");
  const std::string open = R"({"closing":null})";
  EXPECT_EQ(refusal_of([&](auto** e) {
              return faultloom_job_set(job.get(), open.data(), open.size(), e);
            }),
            "");
  EXPECT_EQ(add(job.get(), look).substr(0, 1), "e");
}

class Journals : public Jobs {
 protected:
  Scratch scratch;
  std::string path = scratch.path("j.journal");
  std::string job =
      R"({"format":"faultloom.job","version":"1.0","id":"j","vehicle":"mulch-tug","entries":[]})";

  JournalOwner created(const faultloom_model* of) {
    faultloom_journal* journal = nullptr;
    EXPECT_EQ(refusal_of([&](auto** e) {
                return faultloom_journal_create(path.data(), path.size(), of, job.data(),
                                                job.size(), &journal, e);
              }),
              "");
    return JournalOwner(journal);
  }
  JournalOwner opened(const faultloom_model* of) {
    faultloom_journal* journal = nullptr;
    EXPECT_EQ(refusal_of([&](auto** e) {
                return faultloom_journal_open(path.data(), path.size(), of, &journal, e);
              }),
              "");
    return JournalOwner(journal);
  }
  static capi_test::Reply append(faultloom_journal* journal, const std::string& change) {
    auto reply = reply_of([&](auto** out, auto** e) {
      return faultloom_journal_append(journal, change.data(), change.size(), out, e);
    });
    capi_test::expect_consistent(reply);
    return reply;
  }
  static json status_of(const faultloom_journal* journal) {
    return json::parse(reply_of([&](auto** out, auto** e) {
                         return faultloom_journal_status(journal, out, e);
                       }).text);
  }
  static json job_in(const faultloom_journal* journal) {
    return json::parse(reply_of([&](auto** out, auto** e) {
                         return faultloom_journal_json(journal, out, e);
                       }).text);
  }
};

TEST_F(Journals, KeepAJobFromOneProcessToTheNext) {
  json before;
  {
    const auto journal = created(model());
    EXPECT_EQ(append(journal.get(), std::string(R"({"add":[)") + look + "]}").text, R"(["e1"])");
    EXPECT_EQ(append(journal.get(), R"({"withdraw":["e1"]})").text, "[]");
    before = job_in(journal.get());
    EXPECT_EQ(refusal_of([&](auto** e) {
                faultloom_journal* second = nullptr;
                return faultloom_journal_open(path.data(), path.size(), nullptr, &second, e);
              }),
              "in_use ");
  }
  const auto journal = opened(model());
  EXPECT_EQ(job_in(journal.get()), before);
  EXPECT_EQ(status_of(journal.get())["records"], 3);
  const auto bytes = bytes_of(path);
  faultloom_text* document = nullptr;
  faultloom_text* status = nullptr;
  ASSERT_EQ(faultloom_journal_read(bytes.data(), bytes.size(), &document, &status, nullptr),
            FAULTLOOM_OK);
  const capi_test::TextOwner owner(document);
  const capi_test::TextOwner status_owner(status);
  EXPECT_EQ(json::parse(faultloom_text_data(document)), before);
  EXPECT_EQ(json::parse(faultloom_text_data(status))["damage"], json::array());
}

TEST_F(Journals, TakeTheClosingOfADocument) {
  const auto journal = created(nullptr);
  EXPECT_EQ(append(journal.get(), std::string(R"({"add":[)") + look + "]}").status, FAULTLOOM_OK);
  const auto text = job_in(journal.get()).dump();
  const std::string closing = R"({"verdict":"not_repaired"})";
  const auto closed = reply_of([&](auto** out, auto** e) {
    return faultloom_close_job(model(), text.data(), text.size(), closing.data(), closing.size(),
                               nullptr, nullptr, out, e);
  });
  ASSERT_EQ(closed.status, FAULTLOOM_OK) << closed.message;
  const auto update = [&](const std::string& document) {
    return refusal_of([&](auto** e) {
      return faultloom_journal_update(journal.get(), document.data(), document.size(), e);
    });
  };
  EXPECT_EQ(update(closed.text), "");
  EXPECT_EQ(update(closed.text), "");
  EXPECT_EQ(job_in(journal.get()), json::parse(closed.text));
  EXPECT_EQ(status_of(journal.get())["records"], 3);
  EXPECT_EQ(update(job), "value /entries/0");
  const auto other = scratch.path("other.journal");
  EXPECT_EQ(refusal_of([&](auto** e) {
              return faultloom_journal_compact(journal.get(), other.data(), other.size(), e);
            }),
            "");
  EXPECT_EQ(bytes_of(other).find('\n'), bytes_of(other).size() - 1);
}

TEST_F(Journals, RefuseWhatIsWrongAndStayAsTheyWere) {
  const auto journal = created(model());
  const auto before = bytes_of(path);
  const auto reply =
      append(journal.get(), R"({"add":[{"type":"look","component":"W999","outcome":"clean"}]})");
  EXPECT_EQ(reply.status, FAULTLOOM_E_REFERENCE);
  EXPECT_EQ(reply.pointer, "/add/0/component");
  EXPECT_EQ(bytes_of(path), before);
  std::filesystem::remove(path);
  EXPECT_EQ(append(journal.get(), std::string(R"({"add":[)") + look + "]}").status,
            FAULTLOOM_E_CHANGED);
  faultloom_journal* none = nullptr;
  EXPECT_EQ(refusal_of([&](auto** e) {
              return faultloom_journal_open(path.data(), path.size(), nullptr, &none, e);
            }),
            "storage ");
  EXPECT_EQ(refusal_of([&](auto** e) {
              return faultloom_journal_open(path.data(), 0, nullptr, &none, e);
            }),
            "argument ");
  put_bytes(path, before.substr(0, 30));
  EXPECT_EQ(refusal_of([&](auto** e) {
              return faultloom_journal_open(path.data(), path.size(), nullptr, &none, e);
            }),
            "damaged ");
  put_bytes(scratch.path("is-there"), before);
  path = scratch.path("is-there");
  EXPECT_EQ(refusal_of([&](auto** e) {
              return faultloom_journal_create(path.data(), path.size(), nullptr, job.data(),
                                              job.size(), &none, e);
            }),
            "storage ");
  EXPECT_EQ(none, nullptr);
}

TEST_F(Journals, TellWhatWasBrokenOff) {
  created(nullptr);
  const auto whole = bytes_of(path);
  put_bytes(path, whole + R"({"crc":"12)");
  const auto journal = opened(nullptr);
  const auto damage = status_of(journal.get())["damage"];
  ASSERT_EQ(damage.size(), 1U);
  EXPECT_EQ(damage[0]["what"], "unfinished");
  EXPECT_EQ(bytes_of(damage[0]["kept_in"]), R"({"crc":"12)");
  EXPECT_EQ(bytes_of(path), whole);
}

}  // namespace
