// The application's vibrations go to the controller, as ever, and to the glove's service, which decides what they are
// on a glove. Nothing waits: the newest is left for the link's thread to tell.
#include <algorithm>
#include <cmath>

#include "layer.hpp"
#include "link.hpp"

namespace tautline::layer {
namespace {

/// Applications that vibrate every frame ask for little more than a frame; told less often, it must last until then.
constexpr unsigned kShortestMs = 30;
constexpr unsigned kLongestMs = 2000;

/// Whether the action vibrates a hand: bound to its output in the profile in use, or in any while that is not known.
bool vibrates(const Session& session, XrAction action, Side side) {
  const Instance& instance = *session.instance;
  const Suggestion* current = bound_for(instance, session.reported_profiles[side]);
  for (const Suggestion& suggestion : instance.bound) {
    if (current != nullptr && &suggestion != current) continue;
    for (const Binding& binding : suggestion.bindings) {
      const Component& component = binding.component;
      if (binding.action == action && component.side == side && component.kind == Component::Kind::kHaptic) return true;
    }
  }
  // The hands' own profile has no output; the action's intent is plain all the same.
  if (current == nullptr || !current->hand_interaction) return false;
  return std::any_of(instance.bound.begin(), instance.bound.end(), [&](const Suggestion& suggestion) {
    return std::any_of(suggestion.bindings.begin(), suggestion.bindings.end(), [&](const Binding& binding) {
      return binding.action == action && binding.component.side == side &&
             binding.component.kind == Component::Kind::kHaptic;
    });
  });
}

void pulse(Session& session, const XrHapticActionInfo& info, float amplitude, unsigned duration_ms,
           unsigned frequency_hz) {
  Instance& instance = *session.instance;
  const std::lock_guard lock(session.mutex);
  const std::lock_guard instance_lock(instance.mutex);
  for (const Side side : kBothSides) {
    if (info.subactionPath != XR_NULL_PATH && info.subactionPath != instance.hands[side]) continue;
    if (vibrates(session, info.action, side)) Link::get().pulse(side, amplitude, duration_ms, frequency_hz);
  }
}

/// The runtime's answer, or that of a session whose actions were attached after ours.
XrResult answer(const Session& session, XrResult result) {
  if (result != XR_ERROR_ACTIONSET_NOT_ATTACHED || !session.attached_late) return result;
  return session.focused.load() ? XR_SUCCESS : XR_SESSION_NOT_FOCUSED;
}

}  // namespace

XRAPI_ATTR XrResult XRAPI_CALL ApplyHapticFeedback(XrSession handle, const XrHapticActionInfo* info,
                                                   const XrHapticBaseHeader* feedback) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    const XrResult result =
        answer(*session, session->instance->next.ApplyHapticFeedback(handle, info, feedback));
    if (result != XR_SUCCESS || feedback == nullptr || feedback->type != XR_TYPE_HAPTIC_VIBRATION) return result;
    const auto& vibration = *reinterpret_cast<const XrHapticVibration*>(feedback);
    if (!(vibration.amplitude > 0)) return result;
    // XR_MIN_HAPTIC_DURATION is negative: the shortest that can be felt.
    const XrDuration ms = vibration.duration > 0 ? (vibration.duration + 999'999) / 1'000'000 : 0;
    const auto duration_ms = static_cast<unsigned>(std::clamp<XrDuration>(ms, kShortestMs, kLongestMs));
    const auto frequency_hz =
        vibration.frequency > 0 ? static_cast<unsigned>(std::lround(std::clamp(vibration.frequency, 1.f, 1000.f))) : 0;
    pulse(*session, *info, vibration.amplitude, duration_ms, frequency_hz);
    return result;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL StopHapticFeedback(XrSession handle, const XrHapticActionInfo* info) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    const XrResult result = answer(*session, session->instance->next.StopHapticFeedback(handle, info));
    if (result == XR_SUCCESS) pulse(*session, *info, 0, 1, 0);
    return result;
  });
}

}  // namespace tautline::layer
