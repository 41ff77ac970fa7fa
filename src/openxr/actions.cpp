// Action sets, actions and suggested bindings are kept as the application made them. Suggestions of a profile replace
// each other and attaching happens once, so ours are added just before it.
#include <algorithm>
#include <iterator>
#include <utility>

#include "layer.hpp"
#include "link.hpp"

namespace tautline::layer {

std::string path_string(const Instance& instance, XrPath path) {
  char text[XR_MAX_PATH_LENGTH];
  std::uint32_t size = 0;
  if (XR_FAILED(instance.next.PathToString(instance.handle, path, sizeof text, &size, text)) || size == 0) return {};
  return std::string(text, size - 1);
}

const Suggestion* bound_for(const Instance& instance, XrPath profile) {
  if (profile == XR_NULL_PATH) return nullptr;
  for (const Suggestion& each : instance.bound) {
    if (each.profile == profile) return &each;
  }
  return nullptr;
}

XRAPI_ATTR XrResult XRAPI_CALL CreateActionSet(XrInstance handle, const XrActionSetCreateInfo* info,
                                               XrActionSet* set) {
  return guarded([&] {
    const auto instance = objects().instances.find(handle);
    if (!instance) return XR_ERROR_HANDLE_INVALID;
    const XrResult result = instance->next.CreateActionSet(handle, info, set);
    if (XR_FAILED(result)) return result;
    auto made = std::make_shared<ActionSet>();
    made->handle = *set;
    made->priority = info->priority;
    objects().sets.add(*set, made);
    objects().instance_of_set.add(*set, instance);
    const std::lock_guard lock(instance->mutex);
    instance->sets.push_back(std::move(made));
    return result;
  });
}

namespace {

/// Under the instance's lock.
void forget_bindings(Instance& instance, XrAction action) {
  for (auto* suggestions : {&instance.suggestions, &instance.bound}) {
    for (Suggestion& suggestion : *suggestions) {
      auto& all = suggestion.bindings;
      all.erase(std::remove_if(all.begin(), all.end(), [&](const Binding& each) { return each.action == action; }),
                all.end());
    }
  }
}

}  // namespace

XRAPI_ATTR XrResult XRAPI_CALL DestroyActionSet(XrActionSet handle) {
  return guarded([&] {
    const auto instance = objects().instance_of_set.find(handle);
    const auto set = objects().sets.find(handle);
    if (!instance || !set) return XR_ERROR_HANDLE_INVALID;
    const XrResult result = instance->next.DestroyActionSet(handle);
    if (XR_FAILED(result)) return result;
    const std::lock_guard lock(instance->mutex);
    for (const auto& action : set->actions) {
      objects().actions.remove(action->handle);
      forget_bindings(*instance, action->handle);
    }
    auto& sets = instance->sets;
    sets.erase(std::remove(sets.begin(), sets.end(), set), sets.end());
    objects().sets.remove(handle);
    objects().instance_of_set.remove(handle);
    return result;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL CreateAction(XrActionSet set_handle, const XrActionCreateInfo* info,
                                            XrAction* action) {
  return guarded([&] {
    const auto instance = objects().instance_of_set.find(set_handle);
    const auto set = objects().sets.find(set_handle);
    if (!instance || !set) return XR_ERROR_HANDLE_INVALID;
    const XrResult result = instance->next.CreateAction(set_handle, info, action);
    if (XR_FAILED(result)) return result;
    auto made = std::make_shared<Action>();
    made->handle = *action;
    made->set = set;
    made->set_handle = set_handle;
    made->type = info->actionType;
    for (std::uint32_t i = 0; i < info->countSubactionPaths; i++) {
      for (const Side side : kBothSides) {
        if (info->subactionPaths[i] == instance->hands[side]) made->declares[side] = true;
      }
    }
    objects().actions.add(*action, made);
    const std::lock_guard lock(instance->mutex);
    set->actions.push_back(std::move(made));
    return result;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL DestroyAction(XrAction handle) {
  return guarded([&] {
    const auto action = objects().actions.find(handle);
    if (!action) return XR_ERROR_HANDLE_INVALID;
    const auto instance = objects().instance_of_set.find(action->set_handle);
    if (!instance) return XR_ERROR_HANDLE_INVALID;
    const XrResult result = instance->next.DestroyAction(handle);
    if (XR_FAILED(result)) return result;
    const std::lock_guard lock(instance->mutex);
    if (const auto set = action->set.lock()) {
      set->actions.erase(std::remove(set->actions.begin(), set->actions.end(), action), set->actions.end());
    }
    forget_bindings(*instance, handle);
    objects().actions.remove(handle);
    return result;
  });
}

namespace {

/// A trackpad is a controller's main button where there is no trigger.
void give_trackpads(std::vector<Binding>& bindings) {
  for (const Side side : kBothSides) {
    const bool triggers = std::any_of(bindings.begin(), bindings.end(), [&](const Binding& each) {
      const std::string& name = each.component.identifier;
      return each.component.of_hand && each.component.side == side && (name == "trigger" || name == "select");
    });
    if (triggers) continue;
    for (Binding& each : bindings) {
      Component& component = each.component;
      if (!component.of_hand || component.side != side || component.identifier != "trackpad") continue;
      if (component.kind != Component::Kind::kDigital) continue;
      component.kind = Component::Kind::kClick;
      component.input = Input::kTrigger;
    }
  }
}

/// What a runtime would have refused, for a suggestion that is not passed on.
XrResult check_suggestion(const XrInteractionProfileSuggestedBinding& info, const std::vector<std::string>& paths,
                          bool hand_interaction) {
  if (info.countSuggestedBindings == 0) return XR_ERROR_VALIDATION_FAILURE;
  for (std::uint32_t i = 0; i < info.countSuggestedBindings; i++) {
    const auto action = objects().actions.find(info.suggestedBindings[i].action);
    if (!action) return XR_ERROR_HANDLE_INVALID;
    if (paths[i].empty()) return XR_ERROR_PATH_INVALID;
    if (hand_interaction && !is_hand_interaction_path(paths[i])) return XR_ERROR_PATH_UNSUPPORTED;
    const auto set = action->set.lock();
    if (set && set->attached) return XR_ERROR_ACTIONSETS_ALREADY_ATTACHED;
  }
  return XR_SUCCESS;
}

}  // namespace

XRAPI_ATTR XrResult XRAPI_CALL
SuggestInteractionProfileBindings(XrInstance handle, const XrInteractionProfileSuggestedBinding* info) {
  return guarded([&] {
    const auto instance = objects().instances.find(handle);
    if (!instance) return XR_ERROR_HANDLE_INVALID;
    const Next& next = instance->next;
    if (info == nullptr || info->type != XR_TYPE_INTERACTION_PROFILE_SUGGESTED_BINDING ||
        (info->countSuggestedBindings > 0 && info->suggestedBindings == nullptr)) {
      return next.SuggestInteractionProfileBindings(handle, info);
    }
    Suggestion made{};
    made.profile = info->interactionProfile;
    made.below = true;
    std::vector<std::string> paths;
    std::vector<XrActionSuggestedBinding> passed;
    const bool emulated = instance->hand_interaction.emulated();
    for (std::uint32_t i = 0; i < info->countSuggestedBindings; i++) {
      const XrActionSuggestedBinding& each = info->suggestedBindings[i];
      paths.push_back(path_string(*instance, each.binding));
      const bool below = !emulated || !is_hand_interaction_pose(paths.back());
      made.bindings.push_back({each.action, each.binding, read_component(paths.back()), below});
      if (below) passed.push_back(each);
    }
    give_trackpads(made.bindings);
    const std::string profile = path_string(*instance, info->interactionProfile);
    made.hand_interaction = profile.find("/hand_interaction") != std::string::npos;
    bool alone = false;
    {
      const std::lock_guard lock(instance->mutex);
      alone = instance->alone;
    }
    const bool is_emulated = emulated && info->interactionProfile == instance->hand_interaction_profile;
    if (is_emulated || alone) {
      const XrResult result = check_suggestion(*info, paths, is_emulated);
      if (XR_FAILED(result)) return result;
      made.below = false;
      for (Binding& binding : made.bindings) binding.below = false;
    } else if (passed.size() == made.bindings.size()) {
      const XrResult result = next.SuggestInteractionProfileBindings(handle, info);
      if (XR_FAILED(result)) return result;
    } else if (!passed.empty()) {
      XrInteractionProfileSuggestedBinding ours = *info;
      ours.countSuggestedBindings = static_cast<std::uint32_t>(passed.size());
      ours.suggestedBindings = passed.data();
      const XrResult result = next.SuggestInteractionProfileBindings(handle, &ours);
      if (XR_FAILED(result)) return result;
    }
    const std::lock_guard lock(instance->mutex);
    for (Suggestion& known : instance->suggestions) {
      if (known.profile != made.profile) continue;
      known = std::move(made);
      return XR_SUCCESS;
    }
    instance->suggestions.push_back(std::move(made));
    return XR_SUCCESS;
  });
}

namespace {

/// Puts the suggestions of sets that are attached for the first time into force.
void bind(Instance& instance, const std::vector<std::shared_ptr<ActionSet>>& sets) {
  const std::lock_guard lock(instance.mutex);
  for (const auto& set : sets) {
    if (std::exchange(set->attached, true)) continue;
    for (const Suggestion& suggestion : instance.suggestions) {
      auto bound = std::find_if(instance.bound.begin(), instance.bound.end(),
                                [&](const Suggestion& each) { return each.profile == suggestion.profile; });
      if (bound == instance.bound.end()) {
        instance.bound.push_back(suggestion);
        bound = std::prev(instance.bound.end());
        bound->bindings.clear();
      }
      for (const Binding& binding : suggestion.bindings) {
        const bool ours = std::any_of(set->actions.begin(), set->actions.end(),
                                      [&](const auto& action) { return action->handle == binding.action; });
        if (ours) bound->bindings.push_back(binding);
      }
    }
  }
}

/// Sets of an application whose session has ours alone already: its actions follow the glove.
XrResult attach_late(Session& session, const std::vector<std::shared_ptr<ActionSet>>& sets) {
  session.sets = sets;
  session.attached_late = true;
  bind(*session.instance, sets);
  return XR_SUCCESS;
}

}  // namespace

XRAPI_ATTR XrResult XRAPI_CALL AttachSessionActionSets(XrSession handle, const XrSessionActionSetsAttachInfo* info) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    Instance& instance = *session->instance;
    const Next& next = instance.next;
    bool well_formed = info != nullptr && info->type == XR_TYPE_SESSION_ACTION_SETS_ATTACH_INFO &&
                       info->countActionSets > 0 && info->actionSets != nullptr;
    std::vector<std::shared_ptr<ActionSet>> sets;
    for (std::uint32_t i = 0; well_formed && i < info->countActionSets; i++) {
      sets.push_back(objects().sets.find(info->actionSets[i]));
      well_formed = sets.back() != nullptr;
    }
    const std::lock_guard lock(session->mutex);
    if (session->attached_alone && !session->attached_late && well_formed) return attach_late(*session, sets);
    // What is refused anyway is refused by the runtime, in its own way.
    if (!well_formed || session->attached) return next.AttachSessionActionSets(handle, info);
    make_grip_sets(instance, sets);
    std::vector<XrActionSet> all(info->actionSets, info->actionSets + info->countActionSets);
    for (const GripSet& grip : instance.grips) all.push_back(grip.set);
    XrSessionActionSetsAttachInfo ours = *info;
    ours.countActionSets = static_cast<std::uint32_t>(all.size());
    ours.actionSets = all.data();
    XrResult result = next.AttachSessionActionSets(handle, &ours);
    const bool with_ours = XR_SUCCEEDED(result) && !instance.grips.empty();
    if (XR_FAILED(result)) result = next.AttachSessionActionSets(handle, info);
    if (XR_FAILED(result)) return result;
    session->attached = true;
    session->sets = sets;
    bind(instance, sets);
    if (with_ours) make_grip_spaces(*session);
    return result;
  });
}

}  // namespace tautline::layer
