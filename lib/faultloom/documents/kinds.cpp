#include <faultloom/documents/kinds.hpp>

#include <algorithm>

namespace faultloom::documents {

const KindElement* PartKind::element(std::string_view name) const {
  const auto found =
      std::find_if(elements.begin(), elements.end(), [&](const auto& e) { return e.id == name; });
  return found == elements.end() ? nullptr : &*found;
}

bool PartKind::has_terminal(std::string_view name) const {
  return std::find(terminals.begin(), terminals.end(), name) != terminals.end();
}

const PartKind* KindCatalog::find(std::string_view id) const {
  const auto found = kinds_.find(id);
  return found == kinds_.end() ? nullptr : &found->second;
}

}  // namespace faultloom::documents
