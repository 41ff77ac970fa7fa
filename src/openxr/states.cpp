// What an application reads of its actions. The runtime is asked first, and checks the call; then the merged state is
// put in place of its own.
#include <algorithm>
#include <cstring>

#include "layer.hpp"
#include "link.hpp"

namespace tautline::layer {
namespace {

/// For actions that were attached after ours: what the runtime would check.
XrResult check_late(const Session& session, const XrActionStateGetInfo* info, XrActionType type) {
  if (info == nullptr || info->type != XR_TYPE_ACTION_STATE_GET_INFO) return XR_ERROR_VALIDATION_FAILURE;
  const auto action = objects().actions.find(info->action);
  if (!action) return XR_ERROR_HANDLE_INVALID;
  if (action->type != type) return XR_ERROR_ACTION_TYPE_MISMATCH;
  const Instance& instance = *session.instance;
  for (const Side side : kBothSides) {
    if (info->subactionPath == instance.hands[side] && !action->declares[side]) return XR_ERROR_PATH_UNSUPPORTED;
  }
  const bool attached = std::any_of(session.sets.begin(), session.sets.end(),
                                    [&](const auto& set) { return set->handle == action->set_handle; });
  return attached ? XR_SUCCESS : XR_ERROR_ACTIONSET_NOT_ATTACHED;
}

int slot_of(const Instance& instance, XrPath subaction) {
  for (const Side side : kBothSides) {
    if (subaction == instance.hands[side]) return side;
  }
  return kAny;
}

/// Asks below, then gives the merged state, if there is one, to `replace`.
template <typename State, typename Get, typename Replace>
XrResult get_state(XrSession handle, const XrActionStateGetInfo* info, State* state, XrStructureType state_type,
                   XrActionType type, Get get, Replace replace) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    const Instance& instance = *session->instance;
    XrResult result = (instance.next.*get)(handle, info, state);
    const std::lock_guard lock(session->mutex);
    if (session->attached_late && result == XR_ERROR_ACTIONSET_NOT_ATTACHED) {
      if (state == nullptr || state->type != state_type) return XR_ERROR_VALIDATION_FAILURE;
      result = check_late(*session, info, type);
      if (XR_SUCCEEDED(result)) replace(*state, Merged{});
    }
    if (XR_FAILED(result)) return result;
    const auto found = session->merged.find(info->action);
    if (found == session->merged.end()) return result;
    const Merged& merged = found->second[std::size_t(slot_of(instance, info->subactionPath))];
    if (merged.primed) replace(*state, merged);
    return result;
  });
}

XrBool32 truth(bool value) { return value ? XR_TRUE : XR_FALSE; }

template <typename State>
void replace_rest(State& state, const Merged& merged) {
  state.changedSinceLastSync = truth(merged.changed);
  state.lastChangeTime = merged.changed_at;
  state.isActive = truth(merged.active);
}

}  // namespace

XRAPI_ATTR XrResult XRAPI_CALL GetActionStateBoolean(XrSession handle, const XrActionStateGetInfo* info,
                                                     XrActionStateBoolean* state) {
  return get_state(handle, info, state, XR_TYPE_ACTION_STATE_BOOLEAN, XR_ACTION_TYPE_BOOLEAN_INPUT,
                   &Next::GetActionStateBoolean, [](XrActionStateBoolean& to, const Merged& merged) {
                     to.currentState = truth(merged.x > 0.5f);
                     replace_rest(to, merged);
                   });
}

XRAPI_ATTR XrResult XRAPI_CALL GetActionStateFloat(XrSession handle, const XrActionStateGetInfo* info,
                                                   XrActionStateFloat* state) {
  return get_state(handle, info, state, XR_TYPE_ACTION_STATE_FLOAT, XR_ACTION_TYPE_FLOAT_INPUT,
                   &Next::GetActionStateFloat, [](XrActionStateFloat& to, const Merged& merged) {
                     to.currentState = merged.x;
                     replace_rest(to, merged);
                   });
}

XRAPI_ATTR XrResult XRAPI_CALL GetActionStateVector2f(XrSession handle, const XrActionStateGetInfo* info,
                                                      XrActionStateVector2f* state) {
  return get_state(handle, info, state, XR_TYPE_ACTION_STATE_VECTOR2F, XR_ACTION_TYPE_VECTOR2F_INPUT,
                   &Next::GetActionStateVector2f, [](XrActionStateVector2f& to, const Merged& merged) {
                     to.currentState = {merged.x, merged.y};
                     replace_rest(to, merged);
                   });
}

XRAPI_ATTR XrResult XRAPI_CALL GetActionStatePose(XrSession handle, const XrActionStateGetInfo* info,
                                                  XrActionStatePose* state) {
  return get_state(handle, info, state, XR_TYPE_ACTION_STATE_POSE, XR_ACTION_TYPE_POSE_INPUT,
                   &Next::GetActionStatePose,
                   [](XrActionStatePose& to, const Merged& merged) { to.isActive = truth(merged.active); });
}

XRAPI_ATTR XrResult XRAPI_CALL GetCurrentInteractionProfile(XrSession handle, XrPath hand,
                                                            XrInteractionProfileState* state) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    Instance& instance = *session->instance;
    const XrResult result = instance.next.GetCurrentInteractionProfile(handle, hand, state);
    if (XR_FAILED(result)) return result;
    const int slot = slot_of(instance, hand);
    if (slot == kAny) return result;
    const std::lock_guard lock(session->mutex);
    if (session->attached) state->interactionProfile = session->reported_profiles[slot];
    return result;
  });
}

namespace {

/// The glove's inputs that an action is bound to, where no controller is.
std::vector<XrPath> glove_sources(Session& session, XrAction action) {
  std::vector<XrPath> sources;
  const Instance& instance = *session.instance;
  for (const Side side : kBothSides) {
    if (session.below_profiles[side] == session.reported_profiles[side]) continue;
    const Suggestion* suggestion = bound_for(instance, session.reported_profiles[side]);
    if (suggestion == nullptr) continue;
    for (const Binding& binding : suggestion->bindings) {
      const Component& component = binding.component;
      if (binding.action != action || !component.of_hand || component.side != side) continue;
      if (component.kind != Component::Kind::kNothing) sources.push_back(binding.path);
    }
  }
  return sources;
}

}  // namespace

XRAPI_ATTR XrResult XRAPI_CALL EnumerateBoundSourcesForAction(XrSession handle,
                                                              const XrBoundSourcesForActionEnumerateInfo* info,
                                                              std::uint32_t capacity, std::uint32_t* count,
                                                              XrPath* sources) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    Instance& instance = *session->instance;
    const Next& next = instance.next;
    const std::lock_guard lock(session->mutex);
    const std::lock_guard instance_lock(instance.mutex);
    std::vector<XrPath> ours;
    if (info != nullptr && count != nullptr) ours = glove_sources(*session, info->action);
    if (ours.empty()) return next.EnumerateBoundSourcesForAction(handle, info, capacity, count, sources);
    std::uint32_t below = 0;
    XrResult result = next.EnumerateBoundSourcesForAction(handle, info, 0, &below, nullptr);
    if (XR_FAILED(result) && !(session->attached_late && result == XR_ERROR_ACTIONSET_NOT_ATTACHED)) return result;
    std::vector<XrPath> all(XR_FAILED(result) ? 0 : below);
    if (!all.empty()) {
      result = next.EnumerateBoundSourcesForAction(handle, info, below, &below, all.data());
      if (XR_FAILED(result)) return result;
    }
    for (const XrPath path : ours) {
      if (std::find(all.begin(), all.end(), path) == all.end()) all.push_back(path);
    }
    *count = static_cast<std::uint32_t>(all.size());
    if (capacity == 0) return XR_SUCCESS;
    if (capacity < all.size()) return XR_ERROR_SIZE_INSUFFICIENT;
    if (sources == nullptr) return XR_ERROR_VALIDATION_FAILURE;
    std::copy(all.begin(), all.end(), sources);
    return XR_SUCCESS;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL GetInputSourceLocalizedName(XrSession handle,
                                                           const XrInputSourceLocalizedNameGetInfo* info,
                                                           std::uint32_t capacity, std::uint32_t* count,
                                                           char* buffer) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    Instance& instance = *session->instance;
    const XrResult result = instance.next.GetInputSourceLocalizedName(handle, info, capacity, count, buffer);
    if (XR_SUCCEEDED(result) || result == XR_ERROR_SIZE_INSUFFICIENT || info == nullptr || count == nullptr) {
      return result;
    }
    const std::lock_guard lock(session->mutex);
    const std::lock_guard instance_lock(instance.mutex);
    for (const Side side : kBothSides) {
      if (session->below_profiles[side] == session->reported_profiles[side]) continue;
      const Suggestion* suggestion = bound_for(instance, session->reported_profiles[side]);
      if (suggestion == nullptr) continue;
      const auto& all = suggestion->bindings;
      const auto binding = std::find_if(all.begin(), all.end(), [&](const Binding& each) {
        return each.path == info->sourcePath && each.component.of_hand && each.component.side == side;
      });
      if (binding == all.end()) continue;
      std::string name;
      const auto add = [&](XrInputSourceLocalizedNameFlags flag, const std::string& word) {
        if ((info->whichComponents & flag) == 0 || word.empty()) return;
        if (!name.empty()) name += ' ';
        name += word;
      };
      add(XR_INPUT_SOURCE_LOCALIZED_NAME_USER_PATH_BIT, side == kLeft ? "Left Hand" : "Right Hand");
      add(XR_INPUT_SOURCE_LOCALIZED_NAME_INTERACTION_PROFILE_BIT, "Glove");
      add(XR_INPUT_SOURCE_LOCALIZED_NAME_COMPONENT_BIT, binding->component.identifier);
      *count = static_cast<std::uint32_t>(name.size() + 1);
      if (capacity == 0) return XR_SUCCESS;
      if (capacity < name.size() + 1) return XR_ERROR_SIZE_INSUFFICIENT;
      if (buffer == nullptr) return XR_ERROR_VALIDATION_FAILURE;
      std::memcpy(buffer, name.c_str(), name.size() + 1);
      return XR_SUCCESS;
    }
    return result;
  });
}

}  // namespace tautline::layer
