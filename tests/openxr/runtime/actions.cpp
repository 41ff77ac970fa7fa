// Actions of the strict runtime, by the specification's chapter "Input and Haptics".
#include <algorithm>
#include <cmath>
#include <cstring>

#include "runtime.hpp"

namespace test_runtime {
namespace {

/// Components of each profile, behind /user/hand/SIDE. The names of all but the first are of this test alone.
const std::map<std::string, std::vector<std::string>> kProfiles = {
    {"/interaction_profiles/khr/simple_controller",
     {"/input/select/click", "/input/menu/click", "/input/grip/pose", "/input/aim/pose", "/output/haptic"}},
    {"/interaction_profiles/test/full_controller",
     {"/input/trigger/value", "/input/trigger/touch", "/input/squeeze/value", "/input/squeeze/force",
      "/input/thumbstick/x", "/input/thumbstick/y", "/input/thumbstick/click", "/input/thumbstick/touch",
      "/input/thumbstick", "/input/trigger", "/input/squeeze", "/input/a/click", "/input/a/touch", "/input/b/click",
      "/input/x/click", "/input/y/click", "/input/menu/click", "/input/a", "/input/thumbrest/touch",
      "/input/grip/pose", "/input/aim/pose", "/input/grip", "/output/haptic"}},
    {"/interaction_profiles/test/pad_controller",
     {"/input/trackpad", "/input/trackpad/x", "/input/trackpad/y", "/input/trackpad/click", "/input/trackpad/touch",
      "/input/grip/pose", "/input/aim/pose", "/output/haptic"}},
    {"/interaction_profiles/ext/hand_interaction_ext",
     {"/input/grip/pose", "/input/aim/pose", "/input/pinch_ext/pose", "/input/poke_ext/pose",
      "/input/pinch_ext/value", "/input/pinch_ext/ready_ext", "/input/grasp_ext/value", "/input/grasp_ext/ready_ext",
      "/input/aim_activate_ext/value", "/input/aim_activate_ext/ready_ext"}},
};

bool name_is_well_formed(const char* name, std::size_t size) {
  const std::size_t length = strnlen(name, size);
  if (length == 0 || length == size) return false;
  return std::all_of(name, name + length, [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' || c == '_' || c == '.';
  });
}

XrResult XRAPI_CALL CreateActionSet(XrInstance, const XrActionSetCreateInfo* info, XrActionSet* set) {
  World& w = world();
  const Lock lock(w.mutex);
  if (!well_formed(info, XR_TYPE_ACTION_SET_CREATE_INFO, {}, "xrCreateActionSet")) return XR_ERROR_VALIDATION_FAILURE;
  if (!name_is_well_formed(info->actionSetName, sizeof info->actionSetName)) return XR_ERROR_PATH_FORMAT_INVALID;
  if (*info->localizedActionSetName == '\0') return XR_ERROR_LOCALIZED_NAME_INVALID;
  for (const auto& [handle, each] : w.sets) {
    if (each.name == info->actionSetName) return XR_ERROR_NAME_DUPLICATED;
    if (each.localized == info->localizedActionSetName) return XR_ERROR_LOCALIZED_NAME_DUPLICATED;
  }
  if (has("nosets") && std::string(info->actionSetName).rfind("tautline", 0) == 0) return XR_ERROR_RUNTIME_FAILURE;
  *set = reinterpret_cast<XrActionSet>(std::uintptr_t(w.handles += 0x10));
  ActionSet& made = w.sets[*set];
  made.priority = info->priority;
  made.name = info->actionSetName;
  made.localized = info->localizedActionSetName;
  return XR_SUCCESS;
}

XrResult XRAPI_CALL DestroyActionSet(XrActionSet set) {
  World& w = world();
  const Lock lock(w.mutex);
  const auto found = w.sets.find(set);
  if (found == w.sets.end()) return complain(XR_ERROR_HANDLE_INVALID, "xrDestroyActionSet: unknown set");
  for (const XrAction action : found->second.actions) w.actions.erase(action);
  w.sets.erase(found);
  return XR_SUCCESS;
}

XrResult XRAPI_CALL CreateAction(XrActionSet set, const XrActionCreateInfo* info, XrAction* action) {
  World& w = world();
  const Lock lock(w.mutex);
  const auto found = w.sets.find(set);
  if (found == w.sets.end()) return complain(XR_ERROR_HANDLE_INVALID, "xrCreateAction: unknown set");
  if (!well_formed(info, XR_TYPE_ACTION_CREATE_INFO, {}, "xrCreateAction")) return XR_ERROR_VALIDATION_FAILURE;
  if (!name_is_well_formed(info->actionName, sizeof info->actionName)) return XR_ERROR_PATH_FORMAT_INVALID;
  if (found->second.attached) return XR_ERROR_ACTIONSETS_ALREADY_ATTACHED;
  for (const XrAction each : found->second.actions) {
    if (w.actions[each].name == info->actionName) return XR_ERROR_NAME_DUPLICATED;
  }
  Action made;
  made.set = set;
  made.type = info->actionType;
  made.name = info->actionName;
  for (std::uint32_t i = 0; i < info->countSubactionPaths; i++) {
    if (hand_of(info->subactionPaths[i]) < 0) return XR_ERROR_PATH_UNSUPPORTED;
    made.subactions.push_back(info->subactionPaths[i]);
  }
  *action = reinterpret_cast<XrAction>(std::uintptr_t(w.handles += 0x10));
  w.actions[*action] = made;
  found->second.actions.insert(*action);
  return XR_SUCCESS;
}

XrResult XRAPI_CALL DestroyAction(XrAction action) {
  World& w = world();
  const Lock lock(w.mutex);
  const auto found = w.actions.find(action);
  if (found == w.actions.end()) return complain(XR_ERROR_HANDLE_INVALID, "xrDestroyAction: unknown action");
  w.sets[found->second.set].actions.erase(action);
  w.actions.erase(found);
  return XR_SUCCESS;
}

XrResult XRAPI_CALL SuggestInteractionProfileBindings(XrInstance, const XrInteractionProfileSuggestedBinding* info) {
  World& w = world();
  const Lock lock(w.mutex);
  if (!well_formed(info, XR_TYPE_INTERACTION_PROFILE_SUGGESTED_BINDING, {}, "xrSuggestInteractionProfileBindings")) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  if (info->countSuggestedBindings == 0) {
    return complain(XR_ERROR_VALIDATION_FAILURE, "xrSuggestInteractionProfileBindings: no bindings");
  }
  const std::string profile = path_text(info->interactionProfile);
  if (!is_profile(profile)) return XR_ERROR_PATH_UNSUPPORTED;
  std::vector<Binding> made;
  for (std::uint32_t i = 0; i < info->countSuggestedBindings; i++) {
    const XrActionSuggestedBinding& each = info->suggestedBindings[i];
    const auto action = w.actions.find(each.action);
    if (action == w.actions.end()) {
      return complain(XR_ERROR_HANDLE_INVALID, "xrSuggestInteractionProfileBindings: unknown action");
    }
    if (w.sets[action->second.set].attached) return XR_ERROR_ACTIONSETS_ALREADY_ATTACHED;
    const std::string path = path_text(each.binding);
    if (!profile_has(profile, path)) return XR_ERROR_PATH_UNSUPPORTED;
    made.push_back({each.action, path});
  }
  w.suggestions[profile] = made;
  return XR_SUCCESS;
}

XrResult XRAPI_CALL AttachSessionActionSets(XrSession handle, const XrSessionActionSetsAttachInfo* info) {
  World& w = world();
  const Lock lock(w.mutex);
  Session* session = find_session(handle, "xrAttachSessionActionSets");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  // A malformed call is what some tests make; the layer must pass it on as it is.
  if (info == nullptr || info->type != XR_TYPE_SESSION_ACTION_SETS_ATTACH_INFO || info->countActionSets == 0) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  if (session->attached) return XR_ERROR_ACTIONSETS_ALREADY_ATTACHED;
  for (std::uint32_t i = 0; i < info->countActionSets; i++) {
    if (w.sets.count(info->actionSets[i]) == 0) return XR_ERROR_HANDLE_INVALID;
  }
  for (std::uint32_t i = 0; i < info->countActionSets; i++) {
    session->sets.insert(info->actionSets[i]);
    ActionSet& set = w.sets[info->actionSets[i]];
    for (const auto& [profile, bindings] : w.suggestions) {
      for (const Binding& each : bindings) {
        if (!set.attached && set.actions.count(each.action) > 0) set.bound[profile].push_back(each);
      }
    }
    set.attached = true;
    for (const auto& [profile, bindings] : set.bound) {
      auto& all = session->suggestions[profile];
      all.insert(all.end(), bindings.begin(), bindings.end());
    }
  }
  session->attached = true;
  return XR_SUCCESS;
}

std::string current_profile(const Session& session, int hand) {
  const Controller& controller = world().controllers[hand];
  const auto suggested = [&](const std::string& profile) {
    const auto found = session.suggestions.find(profile);
    return found != session.suggestions.end() &&
           std::any_of(found->second.begin(), found->second.end(), [&](const Binding& each) {
             return hand_of_text(each.path) == hand;
           });
  };
  const std::string hands = "/interaction_profiles/ext/hand_interaction_ext";
  if (!controller.on) return world().cameras[hand].on && suggested(hands) ? hands : "";
  if (suggested(controller.profile)) return controller.profile;
  // As runtimes do: the simple profile before the rebinding of any other.
  const std::string simple = "/interaction_profiles/khr/simple_controller";
  if (suggested(simple)) return simple;
  for (const auto& [profile, bindings] : session.suggestions) {
    if (profile != hands && suggested(profile)) return profile;
  }
  return "";
}

std::string identifier_of(const std::string& path) {
  const std::string key = "/input/";
  const std::size_t at = path.find(key);
  if (at == std::string::npos) return "";
  const std::size_t from = at + key.size();
  return path.substr(0, at) + ":" + path.substr(from, path.find('/', from) - from);
}

/// What a source gives an action. @return false: it cannot
bool read_source(const std::string& path, XrActionType type, float& x, float& y) {
  const auto& values = world().values;
  const auto value = [&](const std::string& name) {
    const auto found = values.find(name);
    return found == values.end() ? 0.f : found->second;
  };
  std::string full = path;
  const std::string name = path.substr(path.find("/input/") + 7);
  if (type == XR_ACTION_TYPE_VECTOR2F_INPUT) {
    x = value(path + "/x");
    y = value(path + "/y");
    return true;
  }
  if (name.find('/') == std::string::npos) full += name == "a" ? "/click" : "/value";
  x = value(full);
  if (type == XR_ACTION_TYPE_BOOLEAN_INPUT) x = x > 0.5f ? 1.f : 0.f;
  return true;
}

XrResult XRAPI_CALL SyncActions(XrSession handle, const XrActionsSyncInfo* info) {
  World& w = world();
  const Lock lock(w.mutex);
  Session* session = find_session(handle, "xrSyncActions");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  const auto priority_type = static_cast<XrStructureType>(1000373000);
  Types chain = {priority_type};
  if (!enabled("XR_EXT_active_action_set_priority")) chain = {};
  if (!well_formed(info, XR_TYPE_ACTIONS_SYNC_INFO, chain, "xrSyncActions")) return XR_ERROR_VALIDATION_FAILURE;
  for (std::uint32_t i = 0; i < info->countActiveActionSets; i++) {
    const XrActiveActionSet& each = info->activeActionSets[i];
    if (w.sets.count(each.actionSet) == 0) return XR_ERROR_HANDLE_INVALID;
    if (session->sets.count(each.actionSet) == 0) return XR_ERROR_ACTIONSET_NOT_ATTACHED;
    if (each.subactionPath == XR_NULL_PATH) continue;
    bool declared = false;
    for (const XrAction action : w.sets[each.actionSet].actions) {
      const auto& all = w.actions[action].subactions;
      declared = declared || std::find(all.begin(), all.end(), each.subactionPath) != all.end();
    }
    if (!declared) return XR_ERROR_PATH_UNSUPPORTED;
  }
  auto before = session->states;
  session->states.clear();
  session->pose_sources.clear();
  if (!session->focused) return XR_SESSION_NOT_FOCUSED;
  for (int hand = 0; hand < 2 && session->attached; hand++) {
    const std::string profile = current_profile(*session, hand);
    if (profile == session->profiles[hand]) continue;
    session->profiles[hand] = profile;
    push_profile_changed(handle);
  }
  struct Source {
    XrAction action;
    std::string path;
    std::uint32_t priority;
  };
  std::vector<Source> sources;
  std::map<std::string, std::uint32_t> highest;
  for (int hand = 0; hand < 2; hand++) {
    if (session->profiles[hand].empty()) continue;
    for (const Binding& binding : session->suggestions[session->profiles[hand]]) {
      if (hand_of_text(binding.path) != hand || w.actions.count(binding.action) == 0) continue;
      const XrActionSet set = w.actions[binding.action].set;
      for (std::uint32_t i = 0; i < info->countActiveActionSets; i++) {
        const XrActiveActionSet& active = info->activeActionSets[i];
        if (active.actionSet != set) continue;
        if (active.subactionPath != XR_NULL_PATH && hand_of(active.subactionPath) != hand) continue;
        const std::uint32_t priority = w.sets[set].priority;
        sources.push_back({binding.action, binding.path, priority});
        const auto at = highest.emplace(identifier_of(binding.path), priority).first;
        at->second = std::max(at->second, priority);
      }
    }
  }
  for (const Source& source : sources) {
    const Action& action = w.actions[source.action];
    if (action.type == XR_ACTION_TYPE_VIBRATION_OUTPUT) continue;
    if (source.priority < highest[identifier_of(source.path)]) continue;
    const int hand = hand_of_text(source.path);
    std::vector<XrPath> slots = {XR_NULL_PATH};
    for (const XrPath path : action.subactions) {
      if (hand_of(path) == hand) slots.push_back(path);
    }
    for (const XrPath slot : slots) {
      State& state = session->states[{source.action, slot}];
      if (action.type == XR_ACTION_TYPE_POSE_INPUT) {
        if (!state.active) session->pose_sources[{source.action, slot}] = hand;
        state.active = true;
        continue;
      }
      float x = 0, y = 0;
      if (!read_source(source.path, action.type, x, y)) continue;
      const bool larger = x * x + y * y > state.x * state.x + state.y * state.y;
      if (!state.active || larger) {
        state.x = x;
        state.y = y;
      }
      state.active = true;
    }
  }
  for (auto& [key, state] : session->states) {
    const State& old = before[key];
    const bool differs = old.x != state.x || old.y != state.y;
    state.changed = old.active && differs;
    state.changed_at = old.active && !differs ? old.changed_at : now();
  }
  return XR_SUCCESS;
}

template <typename Out>
XrResult get(XrSession handle, const XrActionStateGetInfo* info, Out* out, XrStructureType out_type,
             XrActionType type, State& state) {
  World& w = world();
  Session* session = find_session(handle, "xrGetActionState");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (!well_formed(info, XR_TYPE_ACTION_STATE_GET_INFO, {}, "xrGetActionState") ||
      !well_formed(out, out_type, {}, "xrGetActionState")) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  const auto action = w.actions.find(info->action);
  if (action == w.actions.end()) return XR_ERROR_HANDLE_INVALID;
  if (session->sets.count(action->second.set) == 0) return XR_ERROR_ACTIONSET_NOT_ATTACHED;
  if (action->second.type != type) return XR_ERROR_ACTION_TYPE_MISMATCH;
  const auto& all = action->second.subactions;
  if (info->subactionPath != XR_NULL_PATH && std::find(all.begin(), all.end(), info->subactionPath) == all.end()) {
    return XR_ERROR_PATH_UNSUPPORTED;
  }
  const auto found = session->states.find({info->action, info->subactionPath});
  state = found == session->states.end() || !session->focused ? State{} : found->second;
  return XR_SUCCESS;
}

template <typename Out>
void fill(Out& out, const State& state) {
  out.changedSinceLastSync = state.changed ? XR_TRUE : XR_FALSE;
  out.lastChangeTime = state.active ? state.changed_at : 0;
  out.isActive = state.active ? XR_TRUE : XR_FALSE;
}

XrResult XRAPI_CALL GetActionStateBoolean(XrSession handle, const XrActionStateGetInfo* info,
                                          XrActionStateBoolean* out) {
  const Lock lock(world().mutex);
  State state;
  const XrResult result =
      get(handle, info, out, XR_TYPE_ACTION_STATE_BOOLEAN, XR_ACTION_TYPE_BOOLEAN_INPUT, state);
  if (XR_FAILED(result)) return result;
  out->currentState = state.x > 0.5f ? XR_TRUE : XR_FALSE;
  fill(*out, state);
  return result;
}
XrResult XRAPI_CALL GetActionStateFloat(XrSession handle, const XrActionStateGetInfo* info, XrActionStateFloat* out) {
  const Lock lock(world().mutex);
  State state;
  const XrResult result = get(handle, info, out, XR_TYPE_ACTION_STATE_FLOAT, XR_ACTION_TYPE_FLOAT_INPUT, state);
  if (XR_FAILED(result)) return result;
  out->currentState = state.x;
  fill(*out, state);
  return result;
}
XrResult XRAPI_CALL GetActionStateVector2f(XrSession handle, const XrActionStateGetInfo* info,
                                           XrActionStateVector2f* out) {
  const Lock lock(world().mutex);
  State state;
  const XrResult result =
      get(handle, info, out, XR_TYPE_ACTION_STATE_VECTOR2F, XR_ACTION_TYPE_VECTOR2F_INPUT, state);
  if (XR_FAILED(result)) return result;
  out->currentState = {state.x, state.y};
  fill(*out, state);
  return result;
}
XrResult XRAPI_CALL GetActionStatePose(XrSession handle, const XrActionStateGetInfo* info, XrActionStatePose* out) {
  const Lock lock(world().mutex);
  State state;
  const XrResult result = get(handle, info, out, XR_TYPE_ACTION_STATE_POSE, XR_ACTION_TYPE_POSE_INPUT, state);
  if (XR_FAILED(result)) return result;
  out->isActive = state.active ? XR_TRUE : XR_FALSE;
  return result;
}

XrResult XRAPI_CALL GetCurrentInteractionProfile(XrSession handle, XrPath hand, XrInteractionProfileState* state) {
  const Lock lock(world().mutex);
  Session* session = find_session(handle, "xrGetCurrentInteractionProfile");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (!session->attached) return XR_ERROR_ACTIONSET_NOT_ATTACHED;
  if (path_text(hand).empty()) return XR_ERROR_PATH_INVALID;
  if (hand_of(hand) < 0) return XR_ERROR_PATH_UNSUPPORTED;
  const std::string& profile = session->profiles[hand_of(hand)];
  state->interactionProfile = profile.empty() ? XR_NULL_PATH : path_for(profile);
  return XR_SUCCESS;
}

XrResult XRAPI_CALL EnumerateBoundSourcesForAction(XrSession handle, const XrBoundSourcesForActionEnumerateInfo* info,
                                                   std::uint32_t capacity, std::uint32_t* count, XrPath* sources) {
  World& w = world();
  const Lock lock(w.mutex);
  Session* session = find_session(handle, "xrEnumerateBoundSourcesForAction");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (w.actions.count(info->action) == 0) return XR_ERROR_HANDLE_INVALID;
  if (session->sets.count(w.actions[info->action].set) == 0) return XR_ERROR_ACTIONSET_NOT_ATTACHED;
  std::vector<XrPath> all;
  for (int hand = 0; hand < 2; hand++) {
    if (session->profiles[hand].empty()) continue;
    for (const Binding& each : session->suggestions[session->profiles[hand]]) {
      if (each.action == info->action && hand_of_text(each.path) == hand) all.push_back(path_for(each.path));
    }
  }
  *count = static_cast<std::uint32_t>(all.size());
  if (capacity == 0) return XR_SUCCESS;
  if (capacity < all.size()) return XR_ERROR_SIZE_INSUFFICIENT;
  std::copy(all.begin(), all.end(), sources);
  return XR_SUCCESS;
}

XrResult XRAPI_CALL GetInputSourceLocalizedName(XrSession handle, const XrInputSourceLocalizedNameGetInfo* info,
                                                std::uint32_t capacity, std::uint32_t* count, char* buffer) {
  const Lock lock(world().mutex);
  Session* session = find_session(handle, "xrGetInputSourceLocalizedName");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  const std::string path = path_text(info->sourcePath);
  const int hand = hand_of_text(path);
  if (hand < 0 || session->profiles[hand].empty()) return XR_ERROR_PATH_INVALID;
  const std::string name = "Test " + path;
  *count = static_cast<std::uint32_t>(name.size() + 1);
  if (capacity == 0) return XR_SUCCESS;
  if (capacity < *count) return XR_ERROR_SIZE_INSUFFICIENT;
  std::memcpy(buffer, name.c_str(), *count);
  return XR_SUCCESS;
}

/// Hands that an output action vibrates; -1: the call is wrong, with the result.
XrResult outputs(XrSession handle, const XrHapticActionInfo* info, bool (&hands)[2]) {
  World& w = world();
  Session* session = find_session(handle, "haptics");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (!well_formed(info, XR_TYPE_HAPTIC_ACTION_INFO, {}, "haptics")) return XR_ERROR_VALIDATION_FAILURE;
  const auto action = w.actions.find(info->action);
  if (action == w.actions.end()) return complain(XR_ERROR_HANDLE_INVALID, "haptics: unknown action");
  if (session->sets.count(action->second.set) == 0) return XR_ERROR_ACTIONSET_NOT_ATTACHED;
  if (action->second.type != XR_ACTION_TYPE_VIBRATION_OUTPUT) return XR_ERROR_ACTION_TYPE_MISMATCH;
  if (!session->focused) return XR_SESSION_NOT_FOCUSED;
  for (int hand = 0; hand < 2; hand++) {
    if (session->profiles[hand].empty()) continue;
    if (info->subactionPath != XR_NULL_PATH && hand_of(info->subactionPath) != hand) continue;
    for (const Binding& each : session->suggestions[session->profiles[hand]]) {
      if (each.action == info->action && hand_of_text(each.path) == hand) hands[hand] = true;
    }
  }
  return XR_SUCCESS;
}

XrResult XRAPI_CALL ApplyHapticFeedback(XrSession handle, const XrHapticActionInfo* info,
                                        const XrHapticBaseHeader* feedback) {
  const Lock lock(world().mutex);
  bool hands[2] = {};
  const XrResult result = outputs(handle, info, hands);
  if (result != XR_SUCCESS) return result;
  for (int hand = 0; hand < 2; hand++) {
    if (!hands[hand]) continue;
    world().haptics[hand].applied++;
    world().haptics[hand].amplitude = reinterpret_cast<const XrHapticVibration*>(feedback)->amplitude;
  }
  return result;
}

XrResult XRAPI_CALL StopHapticFeedback(XrSession handle, const XrHapticActionInfo* info) {
  const Lock lock(world().mutex);
  bool hands[2] = {};
  const XrResult result = outputs(handle, info, hands);
  for (int hand = 0; hand < 2; hand++) world().haptics[hand].stopped += result == XR_SUCCESS && hands[hand];
  return result;
}

}  // namespace

bool is_profile(const std::string& profile) {
  if (profile == "/interaction_profiles/ext/hand_interaction_ext") return enabled("XR_EXT_hand_interaction");
  return kProfiles.count(profile) > 0 || has("anyprofile");
}

bool profile_has(const std::string& profile, const std::string& path) {
  const int hand = hand_of_text(path);
  const auto found = kProfiles.find(profile);
  // For applications that name the controllers of this world.
  if (found == kProfiles.end() && has("anyprofile")) return hand >= 0;
  if (hand < 0 || found == kProfiles.end()) return false;
  const std::string rest = path.substr(std::strlen(hand == 0 ? "/user/hand/left" : "/user/hand/right"));
  if (enabled("XR_EXT_hand_interaction") && (rest == "/input/pinch_ext/pose" || rest == "/input/poke_ext/pose")) {
    return true;
  }
  return std::find(found->second.begin(), found->second.end(), rest) != found->second.end();
}

PFN_xrVoidFunction action_function(const std::string& name) {
#define TAUTLINE_TEST_FUNCTION(function) \
  if (name == "xr" #function) return reinterpret_cast<PFN_xrVoidFunction>(function);
  TAUTLINE_TEST_FUNCTION(CreateActionSet)
  TAUTLINE_TEST_FUNCTION(DestroyActionSet)
  TAUTLINE_TEST_FUNCTION(CreateAction)
  TAUTLINE_TEST_FUNCTION(DestroyAction)
  TAUTLINE_TEST_FUNCTION(SuggestInteractionProfileBindings)
  TAUTLINE_TEST_FUNCTION(AttachSessionActionSets)
  TAUTLINE_TEST_FUNCTION(SyncActions)
  TAUTLINE_TEST_FUNCTION(GetActionStateBoolean)
  TAUTLINE_TEST_FUNCTION(GetActionStateFloat)
  TAUTLINE_TEST_FUNCTION(GetActionStateVector2f)
  TAUTLINE_TEST_FUNCTION(GetActionStatePose)
  TAUTLINE_TEST_FUNCTION(GetCurrentInteractionProfile)
  TAUTLINE_TEST_FUNCTION(EnumerateBoundSourcesForAction)
  TAUTLINE_TEST_FUNCTION(GetInputSourceLocalizedName)
  TAUTLINE_TEST_FUNCTION(ApplyHapticFeedback)
  TAUTLINE_TEST_FUNCTION(StopHapticFeedback)
#undef TAUTLINE_TEST_FUNCTION
  return nullptr;
}

}  // namespace test_runtime
