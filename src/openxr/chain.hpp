// Chains of structures, and the edge of the C interface.
#ifndef TAUTLINE_OPENXR_CHAIN_HPP
#define TAUTLINE_OPENXR_CHAIN_HPP

#include <new>

#include <openxr/openxr.h>

namespace tautline::layer {

/// Runs what may run out of memory; nothing is thrown through the C interface.
template <typename Run>
XrResult guarded(Run&& run) noexcept {
  try {
    return run();
  } catch (const std::bad_alloc&) {
    return XR_ERROR_OUT_OF_MEMORY;
  } catch (...) {
    return XR_ERROR_RUNTIME_FAILURE;
  }
}

/// First structure of a type in a chain; null: none.
template <typename T>
T* find_in_chain(const void* chain, XrStructureType type) {
  for (auto* each = static_cast<const XrBaseInStructure*>(chain); each != nullptr; each = each->next) {
    if (each->type == type) return reinterpret_cast<T*>(const_cast<XrBaseInStructure*>(each));
  }
  return nullptr;
}

/// Takes a structure out of a chain that is written to, for as long as this lives.
class Unlinked {
 public:
  Unlinked(void* head, XrStructureType type) {
    auto* before = static_cast<XrBaseOutStructure*>(head);
    while (before->next != nullptr && before->next->type != type) before = before->next;
    if (before->next == nullptr) return;
    before_ = before;
    taken_ = before->next;
    before->next = taken_->next;
  }
  ~Unlinked() {
    if (before_ != nullptr) before_->next = taken_;
  }
  Unlinked(const Unlinked&) = delete;
  Unlinked& operator=(const Unlinked&) = delete;

 private:
  XrBaseOutStructure* before_ = nullptr;
  XrBaseOutStructure* taken_ = nullptr;
};

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_CHAIN_HPP
