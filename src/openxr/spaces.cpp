// Poses of the hand in place of a controller's: spaces of pose actions that no controller gives and the glove does,
// such as the pinch pose of XR_EXT_hand_interaction. Every other space passes by untouched.
#include <array>

#include "layer.hpp"
#include "link.hpp"

namespace tautline::layer {
namespace {

/// A space in another, with its motion.
struct Placed {
  XrSpaceLocationFlags flags = 0;
  XrSpaceVelocityFlags moving = 0;
  XrPosef pose = kIdentity;
  XrVector3f linear{}, angular{};
};

/// Of all sessions; as a rule 0, and then every space is the runtime's.
std::atomic<int> poses_by_hand_in_all{0};

/// Whether the space follows the hand, and with which pose. @return false: it is the runtime's
bool by_hand(const ActionSpace& space, Side& side, InputPose& pose) {
  Session& session = *space.session;
  const std::lock_guard lock(session.mutex);
  const auto found = session.merged.find(space.action);
  if (found == session.merged.end()) return false;
  const Merged& state = found->second[std::size_t(space.slot)];
  if (!state.by_hand) return false;
  side = state.hand;
  Instance& instance = *session.instance;
  const std::lock_guard instance_lock(instance.mutex);
  const Suggestion* suggestion = bound_for(instance, session.reported_profiles[side]);
  if (suggestion == nullptr) return false;
  for (const Binding& binding : suggestion->bindings) {
    const Component& component = binding.component;
    if (binding.action != space.action || !component.of_hand || component.side != side) continue;
    if (component.kind != Component::Kind::kPose) continue;
    pose = component.pose;
    return true;
  }
  return false;
}

XrResult locate_below(const Session& session, XrSpace space, XrSpace base, XrTime time, Placed& placed) {
  XrSpaceVelocity velocity{XR_TYPE_SPACE_VELOCITY, nullptr, 0, {}, {}};
  XrSpaceLocation location{XR_TYPE_SPACE_LOCATION, &velocity, 0, kIdentity};
  const XrResult result = session.instance->next.LocateSpace(space, base, time, &location);
  if (XR_FAILED(result)) return result;
  placed = {location.locationFlags, velocity.velocityFlags, location.pose, velocity.linearVelocity,
            velocity.angularVelocity};
  return result;
}

/// A space of the hand in one of the runtime's.
XrResult place_hand(const ActionSpace& space, Side side, InputPose pose, XrSpace base, XrTime time, Placed& placed) {
  Session& session = *space.session;
  // Checks base and time, too.
  Placed unused;
  const XrResult checked = locate_below(session, reference_of(session), base, time, unused);
  if (XR_FAILED(checked)) return checked;
  HandSample sample;
  float ahead_s = 0;
  placed = Placed{};
  if (!session.focused.load() ||
      !Link::get().sample(side, local_ns(*session.instance, time), sample, ahead_s)) {
    return XR_SUCCESS;
  }
  Wrist wrist;
  const XrResult result = grip_wrist(session, sample, side, base, time, wrist);
  if (XR_FAILED(result)) return result;
  if (!wrist.valid && !camera_wrist(session, side, base, time, wrist)) return XR_SUCCESS;
  JointState joints[kJoints];
  carry_ahead(sample, ahead_s, joints);
  placed.pose = wrist.pose * input_pose(side, pose, joints) * space.offset;
  placed.pose.orientation = normalised(placed.pose.orientation);
  placed.flags = kValid | (wrist.tracked ? kTracked : 0);
  if (!wrist.has_velocity) return XR_SUCCESS;
  // As if fixed to the wrist; fingers move little against it where poses of a hand are used.
  placed.moving = kMoving;
  placed.angular = wrist.angular;
  placed.linear = wrist.linear + cross(wrist.angular, placed.pose.position - wrist.pose.position);
  return XR_SUCCESS;
}

/// The other way round: where the base is, seen from the space.
Placed inverted(const Placed& placed) {
  Placed turned;
  turned.flags = placed.flags;
  turned.moving = placed.moving;
  turned.pose = inverse(placed.pose);
  const XrQuaternionf back = turned.pose.orientation;
  turned.angular = rotate(back, -1.0f * placed.angular);
  turned.linear = rotate(back, cross(placed.angular, placed.pose.position) - placed.linear);
  return turned;
}

/// `b` is given in `a`, and `a` somewhere.
Placed composed(const Placed& a, const Placed& b) {
  Placed c;
  c.flags = a.flags & b.flags;
  c.moving = a.moving & b.moving;
  c.pose = a.pose * b.pose;
  const XrVector3f arm = rotate(a.pose.orientation, b.pose.position);
  c.linear = a.linear + cross(a.angular, arm) + rotate(a.pose.orientation, b.linear);
  c.angular = a.angular + rotate(a.pose.orientation, b.angular);
  return c;
}

/// The space, when it follows a hand.
struct Followed {
  std::shared_ptr<ActionSpace> space;
  Side side = kLeft;
  InputPose pose = InputPose::kGrip;

  explicit Followed(XrSpace handle) {
    if (poses_by_hand_in_all.load(std::memory_order_acquire) == 0) return;
    auto found = objects().spaces.find(handle);
    if (found && found->session->poses_by_hand.load(std::memory_order_acquire) > 0 && by_hand(*found, side, pose)) {
      space = std::move(found);
    }
  }
};

/// Locates spaces of which at least one follows a hand.
XrResult locate(XrSpace handle, const Followed& space, XrSpace base_handle, const Followed& base, XrTime time,
                Placed& placed) {
  if (!base.space) return place_hand(*space.space, space.side, space.pose, base_handle, time, placed);
  Session& session = *base.space->session;
  const XrSpace reference = reference_of(session);
  Placed in_reference, base_in_reference;
  XrResult result = place_hand(*base.space, base.side, base.pose, reference, time, base_in_reference);
  if (XR_FAILED(result)) return result;
  if (space.space) result = place_hand(*space.space, space.side, space.pose, reference, time, in_reference);
  else result = locate_below(session, handle, reference, time, in_reference);
  if (XR_FAILED(result)) return result;
  placed = composed(inverted(base_in_reference), in_reference);
  return result;
}

void tell(const Placed& placed, XrSpaceLocationFlags& flags, XrPosef& pose) {
  flags = placed.flags;
  if ((placed.flags & kValid) == kValid) pose = placed.pose;
}

}  // namespace

void count_poses(Session& session, int by_hand) {
  poses_by_hand_in_all.fetch_add(by_hand - session.poses_by_hand.exchange(by_hand));
}

void forget_spaces(Session& session) {
  count_poses(session, 0);
  objects().spaces.remove_if([&](const ActionSpace& space) { return space.session.get() == &session; });
}

XRAPI_ATTR XrResult XRAPI_CALL CreateActionSpace(XrSession handle, const XrActionSpaceCreateInfo* info,
                                                 XrSpace* space) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    const Instance& instance = *session->instance;
    const XrResult result = instance.next.CreateActionSpace(handle, info, space);
    if (XR_FAILED(result)) return result;
    auto made = std::make_shared<ActionSpace>();
    made->handle = *space;
    made->session = session;
    made->action = info->action;
    made->offset = info->poseInActionSpace;
    made->slot = kAny;
    for (const Side side : kBothSides) {
      if (info->subactionPath == instance.hands[side]) made->slot = side;
    }
    objects().spaces.add(*space, std::move(made));
    return result;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL DestroySpace(XrSpace handle) {
  return guarded([&]() -> XrResult {
    // Which instance a space of another kind belongs to is not known; there is one, in practice and by the loader.
    const auto space = objects().spaces.find(handle);
    const auto instance = space ? space->session->instance : objects().instances.any();
    if (!instance) return XR_ERROR_HANDLE_INVALID;
    const XrResult result = instance->next.DestroySpace(handle);
    if (XR_SUCCEEDED(result)) objects().spaces.remove(handle);
    return result;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL LocateSpace(XrSpace handle, XrSpace base_handle, XrTime time,
                                           XrSpaceLocation* location) {
  return guarded([&]() -> XrResult {
    const Followed space(handle), base(base_handle);
    if (!space.space && !base.space) {
      const auto instance = objects().instances.any();
      if (!instance) return XR_ERROR_HANDLE_INVALID;
      return instance->next.LocateSpace(handle, base_handle, time, location);
    }
    if (location == nullptr || location->type != XR_TYPE_SPACE_LOCATION) return XR_ERROR_VALIDATION_FAILURE;
    Placed placed;
    const XrResult result = locate(handle, space, base_handle, base, time, placed);
    if (XR_FAILED(result)) return result;
    tell(placed, location->locationFlags, location->pose);
    if (auto* velocity = find_in_chain<XrSpaceVelocity>(location->next, XR_TYPE_SPACE_VELOCITY)) {
      velocity->velocityFlags = placed.moving;
      velocity->linearVelocity = placed.linear;
      velocity->angularVelocity = placed.angular;
    }
    return result;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL LocateSpacesAny(XrSession handle, const SpacesLocateInfo* info,
                                               SpaceLocations* locations) {
  return guarded([&]() -> XrResult {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    const XrResult result = session->instance->next.LocateSpacesAny(handle, info, locations);
    if (XR_FAILED(result) || session->poses_by_hand.load(std::memory_order_acquire) == 0) return result;
    auto* velocities = find_in_chain<SpaceVelocities>(locations->next, kTypeSpaceVelocities);
    const Followed base(info->baseSpace);
    for (std::uint32_t i = 0; i < info->spaceCount; i++) {
      const Followed space(info->spaces[i]);
      if (!space.space && !base.space) continue;
      Placed placed;
      const XrResult located = locate(info->spaces[i], space, info->baseSpace, base, info->time, placed);
      if (XR_FAILED(located)) return located;
      tell(placed, locations->locations[i].locationFlags, locations->locations[i].pose);
      if (velocities != nullptr) velocities->velocities[i] = {placed.moving, placed.linear, placed.angular};
    }
    return result;
  });
}

}  // namespace tautline::layer
