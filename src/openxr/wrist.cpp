// Where a wrist is. An action of our own is bound to the grip pose of both hands, in a set for each priority that the
// application uses: one of the application's own priority takes nothing from it, and loses nothing to it.
#include <algorithm>

#include "layer.hpp"
#include "link.hpp"

namespace tautline::layer {
namespace {

/// Frames that an application without action sets may draw before we attach our own; engines make theirs before.
constexpr unsigned kFramesAlone = 45;

constexpr const char* kGripPath[kSides] = {"/user/hand/left/input/grip/pose", "/user/hand/right/input/grip/pose"};

XrPath to_path(const Instance& instance, const char* text) {
  XrPath path = XR_NULL_PATH;
  instance.next.StringToPath(instance.handle, text, &path);
  return path;
}

/// Under the instance's lock. @return false: it could not be made
bool make_grip_set(Instance& instance, std::uint32_t priority) {
  GripSet grip{priority, XR_NULL_HANDLE, XR_NULL_HANDLE};
  // The application may use the same name, unlikely as that is.
  for (int tries = 0; tries < 8 && grip.set == XR_NULL_HANDLE; tries++) {
    XrActionSetCreateInfo info{};
    info.type = XR_TYPE_ACTION_SET_CREATE_INFO;
    info.priority = priority;
    const std::string number = std::to_string(++instance.names_used);
    ("tautline-wrist-" + number).copy(info.actionSetName, XR_MAX_ACTION_SET_NAME_SIZE - 1);
    ("Tautline wrist " + number).copy(info.localizedActionSetName, XR_MAX_LOCALIZED_ACTION_SET_NAME_SIZE - 1);
    const XrResult result = instance.next.CreateActionSet(instance.handle, &info, &grip.set);
    if (result == XR_ERROR_NAME_DUPLICATED || result == XR_ERROR_LOCALIZED_NAME_DUPLICATED) {
      grip.set = XR_NULL_HANDLE;
      continue;
    }
    if (XR_FAILED(result)) return false;
  }
  if (grip.set == XR_NULL_HANDLE) return false;
  XrActionCreateInfo info{};
  info.type = XR_TYPE_ACTION_CREATE_INFO;
  info.actionType = XR_ACTION_TYPE_POSE_INPUT;
  std::string("wrist").copy(info.actionName, XR_MAX_ACTION_NAME_SIZE - 1);
  std::string("Wrist").copy(info.localizedActionName, XR_MAX_LOCALIZED_ACTION_NAME_SIZE - 1);
  info.countSubactionPaths = kSides;
  info.subactionPaths = instance.hands;
  if (XR_FAILED(instance.next.CreateAction(grip.set, &info, &grip.action))) {
    instance.next.DestroyActionSet(grip.set);
    return false;
  }
  instance.grips.push_back(grip);
  return true;
}

/// The application's bindings for a profile, and ours for some hands. @return the runtime's answer
XrResult suggest(const Instance& instance, XrPath profile, const std::vector<Binding>& bindings, bool left,
                 bool right) {
  std::vector<XrActionSuggestedBinding> all;
  for (const Binding& binding : bindings) {
    if (binding.below) all.push_back({binding.action, binding.path});
  }
  for (const GripSet& grip : instance.grips) {
    if (left) all.push_back({grip.action, to_path(instance, kGripPath[kLeft])});
    if (right) all.push_back({grip.action, to_path(instance, kGripPath[kRight])});
  }
  if (all.empty()) return XR_SUCCESS;
  const XrInteractionProfileSuggestedBinding info{XR_TYPE_INTERACTION_PROFILE_SUGGESTED_BINDING, nullptr, profile,
                                                  static_cast<std::uint32_t>(all.size()), all.data()};
  return instance.next.SuggestInteractionProfileBindings(instance.handle, &info);
}

using Sets = std::vector<std::shared_ptr<ActionSet>>;

bool has(const Sets& sets, XrAction action) {
  return std::any_of(sets.begin(), sets.end(), [&](const auto& set) {
    return std::any_of(set->actions.begin(), set->actions.end(),
                       [&](const auto& each) { return each->handle == action; });
  });
}

/// Hands for which the application suggested bindings of a controller, to actions that are being attached.
void add_hands(const Suggestion& suggestion, const Sets& attached, bool (&hands)[kSides]) {
  // A hand that the runtime sees by itself is no controller with a mount.
  if (!suggestion.below || suggestion.hand_interaction) return;
  for (const Binding& binding : suggestion.bindings) {
    if (binding.below && binding.component.of_hand && has(attached, binding.action)) {
      hands[binding.component.side] = true;
    }
  }
}

/// Adds our bindings to a profile that the application suggested, for no other hands than it did: the runtime may
/// choose profiles by what was suggested.
void merge_suggestion(const Instance& instance, const Suggestion& suggestion, const Sets& attached) {
  bool hands[kSides] = {};
  add_hands(suggestion, attached, hands);
  if (!hands[kLeft] && !hands[kRight]) return;
  if (XR_SUCCEEDED(suggest(instance, suggestion.profile, suggestion.bindings, hands[kLeft], hands[kRight]))) return;
  // A profile without a grip, or an action that is attached already, in which case everything stays as it was.
  suggest(instance, suggestion.profile, suggestion.bindings, false, false);
}

}  // namespace

void make_grip_sets(Instance& instance, const std::vector<std::shared_ptr<ActionSet>>& attached) {
  const std::lock_guard lock(instance.mutex);
  const bool first = !instance.grips_made;
  instance.grips_made = true;
  if (first) {
    std::vector<std::uint32_t> priorities;
    for (const auto& set : instance.sets) priorities.push_back(set->priority);
    if (priorities.empty()) priorities.push_back(0);
    std::sort(priorities.begin(), priorities.end());
    priorities.erase(std::unique(priorities.begin(), priorities.end()), priorities.end());
    for (const std::uint32_t priority : priorities) {
      if (!make_grip_set(instance, priority)) break;
    }
  }
  bool hands[kSides] = {};
  const Suggestion* simple = nullptr;
  for (Suggestion& suggestion : instance.suggestions) {
    // A suggestion made since then has replaced ours.
    if (!suggestion.merged) merge_suggestion(instance, suggestion, attached);
    suggestion.merged = true;
    add_hands(suggestion, attached, hands);
    if (suggestion.profile == instance.simple_profile) simple = &suggestion;
  }
  // Only for a hand without any: another profile could change what the runtime chooses for the application.
  if (!first || (hands[kLeft] && hands[kRight])) return;
  bool with[kSides] = {};
  if (simple != nullptr) add_hands(*simple, attached, with);
  for (const Side side : kBothSides) {
    instance.simple_is_ours[side] = !hands[side];
    with[side] = with[side] || !hands[side];
  }
  suggest(instance, instance.simple_profile, simple == nullptr ? std::vector<Binding>() : simple->bindings,
          with[kLeft], with[kRight]);
}

void make_grip_spaces(Session& session) {
  const Instance& instance = *session.instance;
  session.grip_actions_spaces.clear();
  for (const GripSet& grip : instance.grips) {
    std::array<XrSpace, kSides> spaces{};
    for (const Side side : kBothSides) {
      const XrActionSpaceCreateInfo info{XR_TYPE_ACTION_SPACE_CREATE_INFO, nullptr, grip.action, instance.hands[side],
                                         kIdentity};
      if (XR_FAILED(instance.next.CreateActionSpace(session.handle, &info, &spaces[side]))) {
        spaces[side] = XR_NULL_HANDLE;
      }
    }
    session.grip_actions_spaces.push_back(spaces);
  }
}

namespace {

/// Highest priority at which the application's active sets bind the grip of a hand; -1: at none.
std::int64_t priority_of_grip(const Session& session, Side side, const XrActionsSyncInfo& sync) {
  const Instance& instance = *session.instance;
  const XrPath profile = session.below_profiles[side];
  std::int64_t highest = -1;
  for (std::uint32_t i = 0; i < sync.countActiveActionSets; i++) {
    const XrActiveActionSet& active = sync.activeActionSets[i];
    if (active.subactionPath != XR_NULL_PATH && active.subactionPath != instance.hands[side]) continue;
    for (const auto& set : session.sets) {
      if (set->handle != active.actionSet) continue;
      for (const Suggestion& suggestion : instance.bound) {
        if (!suggestion.below || (profile != XR_NULL_PATH && suggestion.profile != profile)) continue;
        for (const Binding& binding : suggestion.bindings) {
          const bool grips = binding.component.of_hand && binding.component.side == side &&
                             binding.component.identifier == "grip";
          const bool ours = grips && std::any_of(set->actions.begin(), set->actions.end(), [&](const auto& action) {
                              return action->handle == binding.action;
                            });
          if (ours) highest = std::max<std::int64_t>(highest, set->priority);
        }
      }
    }
  }
  return highest;
}

}  // namespace

std::vector<XrActiveActionSet> choose_grip_sets(Session& session, const XrActionsSyncInfo& sync) {
  const Instance& instance = *session.instance;
  std::vector<XrActiveActionSet> chosen;
  if (session.grip_actions_spaces.empty()) return chosen;
  for (const Side side : kBothSides) {
    const std::int64_t priority = priority_of_grip(session, side, sync);
    // Equal, or else the next lower, so that nothing is taken from the application.
    std::size_t best = 0;
    for (std::size_t i = 0; i < session.grip_actions_spaces.size() && i < instance.grips.size(); i++) {
      if (static_cast<std::int64_t>(instance.grips[i].priority) <= std::max<std::int64_t>(priority, 0)) best = i;
    }
    chosen.push_back({instance.grips[best].set, instance.hands[side]});
    session.grip_spaces[side].store(session.grip_actions_spaces[best][side], std::memory_order_release);
  }
  return chosen;
}

XrSpace reference_of(Session& session) {
  const XrSpace known = session.reference.load();
  if (known != XR_NULL_HANDLE) return known;
  const std::lock_guard lock(session.mutex);
  if (session.reference.load() != XR_NULL_HANDLE) return session.reference.load();
  // VIEW and LOCAL are what every runtime has.
  const XrReferenceSpaceCreateInfo info{XR_TYPE_REFERENCE_SPACE_CREATE_INFO, nullptr, XR_REFERENCE_SPACE_TYPE_LOCAL,
                                        kIdentity};
  XrSpace space = XR_NULL_HANDLE;
  if (XR_SUCCEEDED(session.instance->next.CreateReferenceSpace(session.handle, &info, &space))) {
    session.reference.store(space);
  }
  return session.reference.load();
}

namespace {

/// Of the play space; none where the runtime has none.
XrSpace stage_of(Session& session) {
  if (session.stage_asked.load()) return session.stage.load();
  const std::lock_guard lock(session.mutex);
  if (session.stage_asked.load()) return session.stage.load();
  const XrReferenceSpaceCreateInfo info{XR_TYPE_REFERENCE_SPACE_CREATE_INFO, nullptr, XR_REFERENCE_SPACE_TYPE_STAGE,
                                        kIdentity};
  XrSpace space = XR_NULL_HANDLE;
  if (XR_SUCCEEDED(session.instance->next.CreateReferenceSpace(session.handle, &info, &space))) {
    session.stage.store(space);
  }
  session.stage_asked.store(true);
  return session.stage.load();
}

}  // namespace

XrResult grip_wrist(const Session& session, const HandSample& sample, Side side, XrSpace base, XrTime time,
                    Wrist& wrist) {
  const XrSpace grip = session.grip_spaces[side].load(std::memory_order_acquire);
  wrist.valid = false;
  if (grip == XR_NULL_HANDLE) return XR_SUCCESS;
  XrSpaceVelocity velocity{XR_TYPE_SPACE_VELOCITY, nullptr, 0, {}, {}};
  XrSpaceLocation location{XR_TYPE_SPACE_LOCATION, &velocity, 0, kIdentity};
  const XrResult result = session.instance->next.LocateSpace(grip, base, time, &location);
  if (XR_FAILED(result)) return result;
  if ((location.locationFlags & kValid) != kValid) return result;
  wrist.valid = true;
  wrist.tracked = (location.locationFlags & kTracked) == kTracked;
  wrist.pose = location.pose * sample.mount;
  wrist.has_velocity = (velocity.velocityFlags & kMoving) == kMoving;
  wrist.angular = velocity.angularVelocity;
  // The wrist swings round the grip.
  wrist.linear = velocity.linearVelocity + cross(velocity.angularVelocity, wrist.pose.position - location.pose.position);
  return result;
}

void tell_grips(Session& session) {
  if (!session.focused.load()) return;
  const Instance& instance = *session.instance;
  if (!instance.time.known.load(std::memory_order_acquire)) return;
  Link& link = Link::get();
  for (const Side side : kBothSides) {
    const XrSpace grip = session.grip_spaces[side].load(std::memory_order_acquire);
    if (grip == XR_NULL_HANDLE || !link.live(side)) continue;
    const XrSpace stage = link.stage() ? stage_of(session) : XR_NULL_HANDLE;
    const XrSpace reference = stage != XR_NULL_HANDLE ? stage : reference_of(session);
    if (reference == XR_NULL_HANDLE) return;
    const std::int64_t now = monotonic_ns();
    XrSpaceLocation location{XR_TYPE_SPACE_LOCATION, nullptr, 0, kIdentity};
    if (XR_FAILED(instance.next.LocateSpace(grip, reference, xr_time(instance, now), &location))) continue;
    // A place that the runtime only guesses is none.
    if ((location.locationFlags & kValid) != kValid || (location.locationFlags & kTracked) != kTracked) continue;
    link.place(side, location.pose, now, stage != XR_NULL_HANDLE);
  }
}

void keep_wrist(Session& session) {
  const Instance& instance = *session.instance;
  const std::lock_guard lock(session.mutex);
  if (!session.focused.load()) {
    session.frames = 0;
    return;
  }
  if (session.attached && !session.attached_alone) return;
  const Link& link = Link::get();
  if (!session.attached_alone) {
    session.frames++;
    const bool needed = session.trackers.load() > 0 && (link.live(kLeft) || link.live(kRight));
    if (session.frames < kFramesAlone || !needed) return;
    {
      const std::lock_guard instance_lock(session.instance->mutex);
      if (!instance.sets.empty()) return;
    }
    make_grip_sets(*session.instance, {});
    const std::lock_guard instance_lock(session.instance->mutex);
    std::vector<XrActionSet> sets;
    for (const GripSet& grip : instance.grips) sets.push_back(grip.set);
    const XrSessionActionSetsAttachInfo info{XR_TYPE_SESSION_ACTION_SETS_ATTACH_INFO, nullptr,
                                             static_cast<std::uint32_t>(sets.size()), sets.data()};
    // Once, whatever comes of it.
    session.attached = session.attached_alone = session.instance->alone = true;
    if (sets.empty() || XR_FAILED(instance.next.AttachSessionActionSets(session.handle, &info))) return;
    make_grip_spaces(session);
  }
  if (session.attached_late) return;
  const XrActionsSyncInfo none{XR_TYPE_ACTIONS_SYNC_INFO, nullptr, 0, nullptr};
  std::vector<XrActiveActionSet> active;
  {
    const std::lock_guard instance_lock(session.instance->mutex);
    active = choose_grip_sets(session, none);
  }
  const XrActionsSyncInfo sync{XR_TYPE_ACTIONS_SYNC_INFO, nullptr, static_cast<std::uint32_t>(active.size()),
                               active.data()};
  if (!active.empty()) instance.next.SyncActions(session.handle, &sync);
}

}  // namespace tautline::layer
