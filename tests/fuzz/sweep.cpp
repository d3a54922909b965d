#include "sweep.hpp"

#include "places.hpp"

#include <faultloom/journal/journal.hpp>

#include <map>
#include <utility>
#include <vector>

namespace fuzz {
namespace {

namespace journal = faultloom::journal;

class Sweep {
 public:
  Sweep(Document document, const std::set<std::string>& words,
        const std::function<void(std::string)>& take)
      : original_(std::move(document)), words_(words), take_(take) {
    for (const auto& place : places_of(original_)) {
      const auto& value = place.value();
      named_[place.key()].insert(value);
      if (value.is_string()) texts_.insert(value.get<std::string>());
      if (!place.key().empty()) texts_.insert(place.key());
    }
  }

  void run() {
    if (original_.is_object()) add_members(original_, -1);
    const auto places = places_of(original_);
    for (std::size_t i = 0; i < places.size(); ++i) {
      const auto& place = places[i];
      const auto& value = place.value();
      for (const auto& odd : odd_values()) put(i, odd);
      for (const auto& other : named_[place.key()])
        if (other != value) put(i, other);
      if (value.is_string()) change_text(i, value.get<std::string>());
      if (value.is_number()) change_number(i, value.get<double>());
      if (value.is_object()) add_members(value, static_cast<std::ptrdiff_t>(i));
      drop(i);
      if (place.parent->is_object()) {
        rename(i, place.key());
      } else {
        repeat(i);
      }
    }
  }

 private:
  /// Changes a copy at its i-th place.
  template <typename Change>
  void changed(std::size_t i, Change&& change) {
    Document copy = original_;
    change(places_of(copy)[i]);
    take_(dumped(copy));
  }

  void put(std::size_t i, const Document& value) {
    changed(i, [&](const Place& place) { place.value() = value; });
  }

  void change_text(std::size_t i, const std::string& text) {
    for (const auto& other : texts_)
      if (other != text) put(i, other);
    for (const auto& other : {text + "x", text + ":from", text + ".in", " " + text, text + "\u00e9",
                              text.substr(0, text.find('.')), text.substr(0, text.find(':')),
                              text.substr(0, text.size() / 2)})
      put(i, other);
  }

  void change_number(std::size_t i, double number) {
    for (const double other : {-number, number * 10, number / 10, number + 1, number - 1,
                               number * 1.5, number / 2, number * 1e12})
      put(i, other);
  }

  void drop(std::size_t i) {
    changed(i, [](const Place& place) {
      if (place.parent->is_array()) {
        place.parent->erase(place.step);
      } else {
        place.parent->erase(place.item());
      }
    });
  }

  void rename(std::size_t i, const std::string& key) {
    for (const auto& name : {key + "x", key.substr(0, key.size() - (key.empty() ? 0 : 1)),
                             std::string(), std::string("a b"), "x-" + key, std::string(80, 'A')})
      changed(i, [&](const Place& place) { *place.parent = renamed(*place.parent, key, name); });
  }

  void repeat(std::size_t i) {
    for (const int copies : {1, 300})
      changed(i, [&](const Place& place) {
        const Document value = place.value();
        for (int copy = 0; copy < copies; ++copy) place.parent->push_back(value);
      });
    changed(i, [](const Place& place) {
      std::swap(place.value(), (*place.parent)[(place.step + 1) % place.parent->size()]);
    });
  }

  /// Each member that an object has not. Objects with the same members take the same ones, so that one of them
  /// is enough.
  void add_members(const Document& object, std::ptrdiff_t i) {
    std::string members;
    for (const auto& [name, value] : object.items()) members += name + "\n";
    if (!extended_.insert(members).second) return;
    for (const auto& word : words_) {
      if (object.contains(word)) continue;
      auto values = named_.find(word);
      const std::set<Document> some =
          values != named_.end() ? values->second : std::set<Document>{1, "x", true};
      for (const auto& value : some) {
        Document copy = original_;
        (i < 0 ? copy : places_of(copy)[static_cast<std::size_t>(i)].value())[word] = value;
        take_(dumped(copy));
      }
    }
  }

  Document original_;
  const std::set<std::string>& words_;
  const std::function<void(std::string)>& take_;
  std::map<std::string, std::set<Document>> named_;
  std::set<std::string> texts_;
  std::set<std::string> extended_;
};

}  // namespace

void each_change(std::string_view text, const std::set<std::string>& words,
                 const std::function<void(std::string)>& take) {
  auto document = Document::parse(text, nullptr, false);
  if (!document.is_discarded()) Sweep(std::move(document), words, take).run();
}

void each_journal_change(std::string_view bytes, const std::set<std::string>& words,
                         const std::function<void(std::string)>& take) {
  const auto records = journal::recover(bytes).records;
  for (std::size_t chosen = 0; chosen < records.size(); ++chosen)
    each_change(records[chosen].body, words, [&](const std::string& changed) {
      if (!changed.starts_with("{\"")) return;
      std::string text;
      journal::Link link;
      for (std::size_t i = 0; i < records.size(); ++i) {
        const auto line = journal::encode(link, i == chosen ? changed : records[i].body);
        text += line.text;
        link = line.next;
      }
      take(std::move(text));
    });
}

}  // namespace fuzz
