// Objects by the handles that applications know them by.
#ifndef TAUTLINE_OPENXR_REGISTRY_HPP
#define TAUTLINE_OPENXR_REGISTRY_HPP

#include <memory>
#include <mutex>
#include <shared_mutex>
#include <unordered_map>
#include <vector>

namespace tautline::layer {

/// Objects by handle.
template <typename Handle, typename Object>
class Registry {
 public:
  std::shared_ptr<Object> find(Handle handle) const {
    const std::shared_lock lock(mutex_);
    const auto found = objects_.find(handle);
    return found == objects_.end() ? nullptr : found->second;
  }
  void add(Handle handle, std::shared_ptr<Object> object) {
    const std::unique_lock lock(mutex_);
    objects_[handle] = std::move(object);
  }
  std::shared_ptr<Object> remove(Handle handle) {
    const std::unique_lock lock(mutex_);
    const auto found = objects_.find(handle);
    if (found == objects_.end()) return nullptr;
    auto object = std::move(found->second);
    objects_.erase(found);
    tidy();
    return object;
  }
  /// The only one, as a rule; null: none.
  std::shared_ptr<Object> any() const {
    const std::shared_lock lock(mutex_);
    return objects_.empty() ? nullptr : objects_.begin()->second;
  }
  std::vector<std::shared_ptr<Object>> all() const {
    const std::shared_lock lock(mutex_);
    std::vector<std::shared_ptr<Object>> list;
    for (const auto& each : objects_) list.push_back(each.second);
    return list;
  }
  template <typename Fits>
  std::vector<std::shared_ptr<Object>> remove_if(Fits fits) {
    const std::unique_lock lock(mutex_);
    std::vector<std::shared_ptr<Object>> removed;
    for (auto at = objects_.begin(); at != objects_.end();) {
      if (!fits(*at->second)) {
        ++at;
        continue;
      }
      removed.push_back(std::move(at->second));
      at = objects_.erase(at);
    }
    tidy();
    return removed;
  }

 private:
  /// The library may be taken out of memory once nothing is left.
  void tidy() {
    if (objects_.empty()) std::unordered_map<Handle, std::shared_ptr<Object>>().swap(objects_);
  }

  mutable std::shared_mutex mutex_;
  std::unordered_map<Handle, std::shared_ptr<Object>> objects_;
};

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_REGISTRY_HPP
