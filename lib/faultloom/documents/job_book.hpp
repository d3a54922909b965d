#pragma once

#include <faultloom/documents/model.hpp>

#include <nlohmann/json.hpp>

#include <cstddef>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace faultloom::documents {

class Schema;

/// Names in the order in which they came, each once. Addresses stay as long as the object.
struct OrderedNames {
  std::set<std::string, std::less<>> known;
  std::vector<const std::string*> order;
};

/// A job that grows: entries added, taken back, members set. Nothing is ever erased from its entries.
///
/// Each change is checked before anything is touched: against the schema, and against the vehicle if there
/// is a model. One thread at a time; the model is shared and never changes.
class JobBook {
 public:
  using Json = nlohmann::ordered_json;

  /// A change that was found good, with the room it needs. Good until the next prepare().
  struct Change {
    std::string text;  ///< JSON as it was taken: with ids, without what changes nothing
    std::vector<std::string> added;  ///< ids of the new entries, in order
    [[nodiscard]] bool empty() const noexcept { return text.empty(); }

   private:
    friend class JobBook;
    std::optional<Json> head;
    std::vector<Json> entries;
    OrderedNames ids;
    OrderedNames withdrawn;
    std::size_t weight = 0;
  };

  /// @param document  job document
  /// @param model     of its vehicle; none: names are not looked up
  /// @throws Error with every problem of the document
  explicit JobBook(std::string_view document, std::optional<Model> model = std::nullopt);
  /// An open job without entries.
  /// @throws Error value  the id is none
  [[nodiscard]] static JobBook begun(std::string_view id, std::string_view vehicle_id,
                                     std::optional<Model> model = std::nullopt);

  /// Checks a change: JSON {"add":[entry], "withdraw":[id], "set":{member:value}}, each part optional.
  /// An entry without an id gets "e1", "e2" and so on, from the highest there is. A member set to null is
  /// taken off. To a closed job nothing is added, nor taken back from it, unless the same change takes off
  /// its closing.
  /// @throws Error with every problem; pointers go into the change: /add/0/red. The job is as it was.
  ///         schema, reference, value, duplicate, limit, reading as for a job document
  /// Complexity: linear in the change and in the members of the job other than its entries.
  [[nodiscard]] Change prepare(std::string_view change);
  /// The same for one entry; pointers go into the entry: /red.
  [[nodiscard]] Change prepare_entry(std::string_view entry);
  /// The same for members to set; pointers go into the object given: /complaint.
  [[nodiscard]] Change prepare_members(std::string_view members);
  /// The same for one entry to take back; there is nothing to point into.
  [[nodiscard]] Change prepare_withdrawal(std::string_view id);
  /// Takes a prepared change over.
  void commit(Change&& change) noexcept;

  /// The change that makes this job say what a document says, {} if it does.
  /// @throws Error value  the document leaves out, changes or gives back an entry; nothing is erased from a
  ///         job. reference  it is another job
  [[nodiscard]] std::string difference(std::string_view document) const;

  /// The job document. O(n).
  [[nodiscard]] std::string text() const;
  /// The same on one line.
  [[nodiscard]] std::string line() const;

  [[nodiscard]] std::size_t entry_count() const noexcept { return entries_.size(); }
  [[nodiscard]] std::size_t withdrawn_count() const noexcept { return withdrawn_.order.size(); }
  /// Id of an entry, whether taken back or not. The address stays as long as the job.
  [[nodiscard]] const std::string& entry_id(std::size_t index) const { return *ids_.order[index]; }
  [[nodiscard]] std::string member_text(std::string_view name) const;
  [[nodiscard]] const std::optional<Model>& model() const noexcept { return model_; }

 private:
  [[nodiscard]] Change prepare_part(const std::string& before, std::string_view part,
                                    const std::string& after, std::string_view place);
  [[nodiscard]] Json document() const;
  [[nodiscard]] std::string next_id(std::size_t more) const;
  /// "; did you mean 'e1'?" or "". O(n).
  [[nodiscard]] std::string nearest_id(std::string_view id) const;
  void read_set(const Json& members, Change& change, std::vector<Problem>& problems) const;
  void read_additions(const Json& entries, Change& change, std::vector<Problem>& problems) const;
  void read_withdrawals(const Json& ids, Change& change, std::vector<Problem>& problems) const;
  void check_content(const Change& change, std::vector<Problem>& problems) const;
  void make_room(const Change& change);
  [[nodiscard]] const Schema& schema() const;

  std::optional<Model> model_;
  std::shared_ptr<const Schema> own_schema_;  ///< of jobs, if there is no model to have it
  Json head_;                                 ///< every member but entries and withdrawn
  std::vector<Json> entries_;
  OrderedNames ids_;
  OrderedNames withdrawn_;
  bool names_withdrawn_ = false;    ///< whether the document has that member though it is empty
  std::size_t weight_ = 0;          ///< entries, each try counted
  std::size_t highest_number_ = 0;  ///< of the ids that are an e and a number
};

/// Checks what a schema can't say of a job alone: ids that are used twice, withdrawn ones that are none.
void check_job_ids(const nlohmann::json& document, std::vector<Problem>& problems);

}  // namespace faultloom::documents
