#include "parts.hpp"

#include <algorithm>
#include <cmath>

#include "link.hpp"

namespace tautline::layer {
namespace {

using Kind = Component::Kind;

/// A scalar bound to a boolean, with hysteresis so that noise is no clicking. Common practice.
constexpr float kPressAbove = 0.6f, kReleaseBelow = 0.4f;
constexpr float kTouchAbove = 0.08f, kUntouchBelow = 0.04f;

}  // namespace

Frozen freeze(Session& session) {
  Frozen frozen;
  const Link& link = Link::get();
  for (const Side side : kBothSides) {
    frozen.live[side] = link.inputs(side, frozen.inputs[side]);
    for (int i = 0; i < kInputs; i++) {
      float value = std::fabs(frozen.inputs[side].values[i]);
      if (i == static_cast<int>(Input::kStickX)) {
        value = std::hypot(value, frozen.inputs[side][Input::kStickY]);
        if (frozen.inputs[side][Input::kStickClick] > 0.5f) value = 1;
      }
      if (!frozen.live[side]) value = 0;
      bool& pressed = session.pressed[side][i];
      pressed = value > (pressed ? kReleaseBelow : kPressAbove);
      bool& touched = session.touched[side][i];
      touched = value > (touched ? kUntouchBelow : kTouchAbove);
    }
    if (!frozen.live[side]) continue;
    float* values = frozen.inputs[side].values;
    // A gesture has no value before it is ready.
    for (const Input each : {Input::kPinch, Input::kAimActivate, Input::kGrasp}) {
      const int i = static_cast<int>(each);
      if (!(values[i + 1] > 0.5f)) values[i] = 0;
    }
    const Instance& instance = *session.instance;
    const XrTime sampled = xr_time(instance, link.local_ns(frozen.inputs[side].time_us));
    frozen.time[side] =
        instance.time.known.load() ? std::max<XrTime>(sampled, 1) : session.displayed.load(std::memory_order_relaxed);
  }
  return frozen;
}

void merge(XrActionType type, Part& into, const Part& part) {
  if (!part.active) return;
  const bool first = !into.active;
  const bool larger = type == XR_ACTION_TYPE_VECTOR2F_INPUT
                          ? part.x * part.x + part.y * part.y > into.x * into.x + into.y * into.y
                          : std::fabs(part.x) > std::fabs(into.x);
  if (!first && !larger) return;
  into = part;
}

Part read_glove(const Session& session, const Frozen& frozen, const Component& component, XrActionType type) {
  Part part;
  const Side side = component.side;
  const int input = static_cast<int>(component.input);
  const InputValues& values = frozen.inputs[side];
  const bool boolean = type == XR_ACTION_TYPE_BOOLEAN_INPUT;
  part.active = true;
  part.hand = side;
  switch (component.kind) {
    case Kind::kAnalog:
      part.x = boolean ? (session.pressed[side][input] ? 1.f : 0.f) : values.values[input];
      break;
    case Kind::kClick: {
      const bool button = (component.input == Input::kTrigger && values[Input::kTriggerClick] > 0.5f) ||
                          (component.input == Input::kSqueeze && values[Input::kSqueezeClick] > 0.5f);
      part.x = session.pressed[side][input] || button ? 1.f : 0.f;
      break;
    }
    case Kind::kTouch: part.x = session.touched[side][input] ? 1.f : 0.f; break;
    case Kind::kDigital: part.x = values.values[input] > 0.5f ? 1.f : 0.f; break;
    case Kind::kStick:
      part.active = type == XR_ACTION_TYPE_VECTOR2F_INPUT;
      part.x = values[Input::kStickX];
      part.y = values[Input::kStickY];
      return part;
    case Kind::kPose:
      part.active = type == XR_ACTION_TYPE_POSE_INPUT;
      part.by_hand = true;
      return part;
    default: part.active = false; return part;
  }
  part.active = boolean || type == XR_ACTION_TYPE_FLOAT_INPUT;
  return part;
}

Part read_below(const Session& session, const Action& action, XrPath subaction, XrTime& changed_at) {
  const Next& next = session.instance->next;
  const XrActionStateGetInfo info{XR_TYPE_ACTION_STATE_GET_INFO, nullptr, action.handle, subaction};
  Part part;
  changed_at = 0;
  const auto take = [&](const auto& state, float x, float y) {
    part.active = state.isActive == XR_TRUE;
    part.x = x;
    part.y = y;
    changed_at = state.lastChangeTime;
  };
  switch (action.type) {
    case XR_ACTION_TYPE_BOOLEAN_INPUT: {
      XrActionStateBoolean state{};
      state.type = XR_TYPE_ACTION_STATE_BOOLEAN;
      if (XR_SUCCEEDED(next.GetActionStateBoolean(session.handle, &info, &state))) {
        take(state, state.currentState == XR_TRUE ? 1.f : 0.f, 0);
      }
      break;
    }
    case XR_ACTION_TYPE_FLOAT_INPUT: {
      XrActionStateFloat state{};
      state.type = XR_TYPE_ACTION_STATE_FLOAT;
      if (XR_SUCCEEDED(next.GetActionStateFloat(session.handle, &info, &state))) take(state, state.currentState, 0);
      break;
    }
    case XR_ACTION_TYPE_VECTOR2F_INPUT: {
      XrActionStateVector2f state{};
      state.type = XR_TYPE_ACTION_STATE_VECTOR2F;
      if (XR_SUCCEEDED(next.GetActionStateVector2f(session.handle, &info, &state))) {
        take(state, state.currentState.x, state.currentState.y);
      }
      break;
    }
    case XR_ACTION_TYPE_POSE_INPUT: {
      XrActionStatePose state{};
      state.type = XR_TYPE_ACTION_STATE_POSE;
      if (XR_SUCCEEDED(next.GetActionStatePose(session.handle, &info, &state))) {
        part.active = state.isActive == XR_TRUE;
      }
      break;
    }
    default: break;
  }
  return part;
}

}  // namespace tautline::layer
