// Synchronising: glove values are frozen, and each action gets the state that controller and glove give together.
// Merging is the specification's: or for booleans, the larger magnitude for numbers, the longer vector. The set with
// the larger priority number takes an input from the others, whoever gives it.
#include <algorithm>
#include <map>

#include "layer.hpp"
#include "link.hpp"
#include "parts.hpp"

namespace tautline::layer {
namespace {

/// Highest priority at which an input of a hand is bound by the sets that are synchronised.
using Priorities = std::map<std::string, std::uint32_t>;

bool covers(const Instance& instance, const XrActiveActionSet& active, Side side) {
  return active.subactionPath == XR_NULL_PATH || active.subactionPath == instance.hands[side];
}

std::uint32_t priority_of(const ActionSet& set, const XrActionsSyncInfo& sync) {
  const auto* overrides = find_in_chain<const ActiveSetPriorities>(sync.next, kTypeActiveSetPriorities);
  for (std::uint32_t i = 0; overrides != nullptr && i < overrides->actionSetPriorityCount; i++) {
    if (overrides->actionSetPriorities[i].actionSet == set.handle) {
      return overrides->actionSetPriorities[i].priorityOverride;
    }
  }
  return set.priority;
}

bool has(const ActionSet& set, XrAction action) {
  return std::any_of(set.actions.begin(), set.actions.end(),
                     [&](const auto& each) { return each->handle == action; });
}

bool is_active(const Session& session, const ActionSet& set, const XrActionsSyncInfo& sync, Side side) {
  for (std::uint32_t i = 0; i < sync.countActiveActionSets; i++) {
    const XrActiveActionSet& active = sync.activeActionSets[i];
    if (active.actionSet == set.handle && covers(*session.instance, active, side)) return true;
  }
  return false;
}

Priorities priorities_of(const Session& session, const XrActionsSyncInfo& sync, Side side,
                         const Suggestion* suggestion) {
  Priorities priorities;
  if (suggestion == nullptr) return priorities;
  for (const auto& set : session.sets) {
    if (!is_active(session, *set, sync, side)) continue;
    const std::uint32_t priority = priority_of(*set, sync);
    for (const Binding& binding : suggestion->bindings) {
      const Component& component = binding.component;
      if (!component.of_hand || component.side != side || component.identifier.empty()) continue;
      if (!has(*set, binding.action)) continue;
      const auto at = priorities.emplace(component.identifier, priority).first;
      at->second = std::max(at->second, priority);
    }
  }
  return priorities;
}

XrPath subaction_of(const Session& session, int slot) {
  return slot == kAny ? XR_NULL_PATH : session.instance->hands[slot];
}

bool read_by_slot(const Action& action, int slot) { return slot == kAny || action.declares[slot]; }

/// Everything that decides about one sync.
struct Sync {
  const XrActionsSyncInfo& info;
  Frozen frozen;
  const Suggestion* suggestions[kSides] = {};
  Priorities priorities[kSides];
};

Part glove_part(const Session& session, const Sync& sync, const ActionSet& set, const Action& action, int slot) {
  Part glove;
  for (const Side side : kBothSides) {
    if (slot != kAny && slot != side) continue;
    if (!sync.frozen.live[side] || sync.suggestions[side] == nullptr) continue;
    if (!is_active(session, set, sync.info, side)) continue;
    const std::uint32_t priority = priority_of(set, sync.info);
    for (const Binding& binding : sync.suggestions[side]->bindings) {
      const Component& component = binding.component;
      if (binding.action != action.handle || !component.of_hand || component.side != side) continue;
      const auto highest = sync.priorities[side].find(component.identifier);
      if (highest != sync.priorities[side].end() && highest->second > priority) continue;
      const Part part = read_glove(session, sync.frozen, component, action.type);
      if (part.active && !part.by_hand) Link::get().report().gave_inputs(side);
      merge(action.type, glove, part);
    }
  }
  return glove;
}

void settle(Merged& state, const Part& now, XrTime changed_at) {
  const bool differs = now.x != state.x || now.y != state.y;
  state.changed = now.active && state.active && differs;
  if (!now.active) state.changed_at = 0;
  // Two clocks are in play; a change is later than the one before it, whatever the smaller error between them says.
  else if (state.changed) state.changed_at = std::max(changed_at, state.changed_at + 1);
  else if (differs || !state.active || state.changed_at == 0) state.changed_at = changed_at;
  state.active = now.active;
  state.x = now.active ? now.x : 0;
  state.y = now.active ? now.y : 0;
  state.by_hand = now.active && now.by_hand;
  state.hand = now.hand;
}

/// Before the first sync in which a glove counts: what the application read last becomes the state to compare with.
void prime(Session& session, const Action& action, int slot, Merged& state) {
  XrTime changed_at = 0;
  const Part below = read_below(session, action, subaction_of(session, slot), changed_at);
  state = Merged{};
  state.primed = true;
  state.active = below.active;
  state.x = below.active ? below.x : 0;
  state.y = below.active ? below.y : 0;
  state.changed_at = changed_at;
}

template <typename Each>
void for_each_slot(Session& session, Each each) {
  for (const auto& set : session.sets) {
    for (const auto& action : set->actions) {
      if (action->type == XR_ACTION_TYPE_VIBRATION_OUTPUT) continue;
      for (int slot = 0; slot <= kAny; slot++) {
        if (read_by_slot(*action, slot)) each(*set, *action, slot);
      }
    }
  }
}

void merge_states(Session& session, const Sync& sync) {
  int by_hand = 0;
  for_each_slot(session, [&](const ActionSet& set, const Action& action, int slot) {
    const Part glove = glove_part(session, sync, set, action, slot);
    Merged& state = session.merged[action.handle][std::size_t(slot)];
    // No glove has counted yet.
    if (!glove.active && !state.primed) return;
    XrTime changed_at = 0;
    Part now = read_below(session, action, subaction_of(session, slot), changed_at);
    if (action.type == XR_ACTION_TYPE_POSE_INPUT) {
      // One source for a pose: the controller's, where there is one.
      if (!now.active) now = glove;
    } else {
      const bool by_controller = now.active;
      const Part controller = now;
      merge(action.type, now, glove);
      if (glove.active && !(by_controller && now.x == controller.x && now.y == controller.y)) {
        changed_at = std::max(changed_at, sync.frozen.time[now.hand]);
      }
    }
    settle(state, now, changed_at);
    if (state.by_hand) by_hand++;
  });
  if (by_hand > 0) open_cameras(session);
  count_poses(session, by_hand);
}

void make_all_inactive(Session& session) {
  for (auto& each : session.merged) {
    for (Merged& state : each.second) {
      if (!state.primed) continue;
      state = Merged{};
      state.primed = true;
    }
  }
  count_poses(session, 0);
}

}  // namespace

XRAPI_ATTR XrResult XRAPI_CALL SyncActions(XrSession handle, const XrActionsSyncInfo* info) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    Instance& instance = *session->instance;
    const Next& next = instance.next;
    const bool well_formed = info != nullptr && info->type == XR_TYPE_ACTIONS_SYNC_INFO &&
                             (info->countActiveActionSets == 0 || info->activeActionSets != nullptr);
    const std::lock_guard lock(session->mutex);
    if (!well_formed || !session->attached) return next.SyncActions(handle, info);
    const std::lock_guard instance_lock(instance.mutex);
    if (!Link::get().ever_live()) {
      // Until the first sample of a glove nothing is different from how it would be without us.
      const XrResult result = next.SyncActions(handle, info);
      if (result == XR_SUCCESS) update_profiles(*session);
      return result;
    }
    if (session->attached_late) {
      for (std::uint32_t i = 0; i < info->countActiveActionSets; i++) {
        const bool attached = std::any_of(session->sets.begin(), session->sets.end(), [&](const auto& set) {
          return set->handle == info->activeActionSets[i].actionSet;
        });
        if (!attached) return XR_ERROR_ACTIONSET_NOT_ATTACHED;
      }
    }
    const bool any_live = Link::get().live(kLeft) || Link::get().live(kRight);
    if (any_live) {
      for_each_slot(*session, [&](const ActionSet&, const Action& action, int slot) {
        Merged& state = session->merged[action.handle][std::size_t(slot)];
        if (!state.primed) prime(*session, action, slot, state);
      });
    }
    XrActionsSyncInfo ours = *info;
    std::vector<XrActiveActionSet> active;
    if (!session->attached_late) {
      active.assign(info->activeActionSets, info->activeActionSets + info->countActiveActionSets);
    }
    for (const XrActiveActionSet& grip : choose_grip_sets(*session, *info)) active.push_back(grip);
    ours.countActiveActionSets = static_cast<std::uint32_t>(active.size());
    ours.activeActionSets = active.data();
    XrResult result = next.SyncActions(handle, &ours);
    // Refused: by what the application asked, or because of ours; either way it gets the answer to its own.
    if (XR_FAILED(result)) result = next.SyncActions(handle, info);
    if (XR_FAILED(result)) return result;
    if (result == XR_SESSION_NOT_FOCUSED) {
      make_all_inactive(*session);
      return result;
    }
    update_profiles(*session);
    Sync sync{*info, freeze(*session), {}, {}};
    for (const Side side : kBothSides) {
      sync.suggestions[side] = bound_for(instance, session->reported_profiles[side]);
      sync.priorities[side] = priorities_of(*session, *info, side, sync.suggestions[side]);
    }
    merge_states(*session, sync);
    return result;
  });
}

}  // namespace tautline::layer
