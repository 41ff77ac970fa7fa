// Spaces and the runtime's own hands.
#include "runtime.hpp"

namespace test_runtime {

using namespace tautline::layer;

namespace {

constexpr XrSpaceLocationFlags kBothValid =
    XR_SPACE_LOCATION_ORIENTATION_VALID_BIT | XR_SPACE_LOCATION_POSITION_VALID_BIT;
constexpr XrSpaceLocationFlags kBothTracked =
    XR_SPACE_LOCATION_ORIENTATION_TRACKED_BIT | XR_SPACE_LOCATION_POSITION_TRACKED_BIT;
constexpr auto kDataSourceInfo = static_cast<XrStructureType>(1000428000);
constexpr auto kDataSourceState = static_cast<XrStructureType>(1000428001);

Motion follow(const Motion& parent, const XrPosef& offset) {
  Motion motion;
  motion.pose = parent.pose * offset;
  motion.angular = parent.angular;
  motion.linear = parent.linear + cross(parent.angular, motion.pose.position - parent.pose.position);
  return motion;
}

/// `of` as seen from a moving `base`.
Motion seen_from(const Motion& base, const Motion& of) {
  Motion motion;
  motion.pose = inverse(base.pose) * of.pose;
  const XrQuaternionf back = conjugate(base.pose.orientation);
  const XrVector3f arm = of.pose.position - base.pose.position;
  motion.linear = rotate(back, of.linear - base.linear - cross(base.angular, arm));
  motion.angular = rotate(back, of.angular - base.angular);
  return motion;
}

Space* find_space(XrSpace handle, Session*& session) {
  for (auto& [session_handle, each] : world().sessions) {
    const auto found = each.spaces.find(handle);
    if (found == each.spaces.end()) continue;
    session = &each;
    return &found->second;
  }
  return nullptr;
}

bool unit(const XrQuaternionf& q) {
  const float square = q.x * q.x + q.y * q.y + q.z * q.z + q.w * q.w;
  return square > 0.98f && square < 1.02f;
}

XrResult XRAPI_CALL CreateReferenceSpace(XrSession handle, const XrReferenceSpaceCreateInfo* info, XrSpace* space) {
  World& w = world();
  const Lock lock(w.mutex);
  Session* session = find_session(handle, "xrCreateReferenceSpace");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (!well_formed(info, XR_TYPE_REFERENCE_SPACE_CREATE_INFO, {}, "xrCreateReferenceSpace")) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  if (!unit(info->poseInReferenceSpace.orientation)) return XR_ERROR_POSE_INVALID;
  if (info->referenceSpaceType == XR_REFERENCE_SPACE_TYPE_STAGE && has("floorless")) {
    return XR_ERROR_REFERENCE_SPACE_UNSUPPORTED;
  }
  Space made;
  made.reference = true;
  made.type = info->referenceSpaceType;
  made.offset = info->poseInReferenceSpace;
  *space = reinterpret_cast<XrSpace>(std::uintptr_t(w.handles += 0x10));
  session->spaces[*space] = made;
  return XR_SUCCESS;
}

XrResult XRAPI_CALL CreateActionSpace(XrSession handle, const XrActionSpaceCreateInfo* info, XrSpace* space) {
  World& w = world();
  const Lock lock(w.mutex);
  Session* session = find_session(handle, "xrCreateActionSpace");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (!well_formed(info, XR_TYPE_ACTION_SPACE_CREATE_INFO, {}, "xrCreateActionSpace")) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  const auto action = w.actions.find(info->action);
  if (action == w.actions.end()) return XR_ERROR_HANDLE_INVALID;
  if (action->second.type != XR_ACTION_TYPE_POSE_INPUT) return XR_ERROR_ACTION_TYPE_MISMATCH;
  Space made;
  made.action = info->action;
  made.subaction = info->subactionPath;
  made.offset = info->poseInActionSpace;
  *space = reinterpret_cast<XrSpace>(std::uintptr_t(w.handles += 0x10));
  session->spaces[*space] = made;
  return XR_SUCCESS;
}

XrResult XRAPI_CALL DestroySpace(XrSpace space) {
  const Lock lock(world().mutex);
  Session* session = nullptr;
  if (find_space(space, session) == nullptr) return XR_ERROR_HANDLE_INVALID;
  session->spaces.erase(space);
  return XR_SUCCESS;
}

XrResult XRAPI_CALL LocateSpace(XrSpace handle, XrSpace base_handle, XrTime time, XrSpaceLocation* location) {
  const Lock lock(world().mutex);
  Session* session = nullptr;
  Session* base_session = nullptr;
  const Space* space = find_space(handle, session);
  const Space* base = find_space(base_handle, base_session);
  if (space == nullptr || base == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (session != base_session) return XR_ERROR_VALIDATION_FAILURE;
  if (!well_formed(location, XR_TYPE_SPACE_LOCATION, {XR_TYPE_SPACE_VELOCITY}, "xrLocateSpace")) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  if (time <= 0) return XR_ERROR_TIME_INVALID;
  Motion of, in;
  bool tracked = true, base_tracked = true;
  auto* velocity = static_cast<XrSpaceVelocity*>(location->next);
  location->locationFlags = 0;
  if (velocity != nullptr) velocity->velocityFlags = 0;
  if (!place(*session, *space, of, tracked) || !place(*session, *base, in, base_tracked)) return XR_SUCCESS;
  const Motion seen = seen_from(in, of);
  location->locationFlags = kBothValid | (tracked && base_tracked ? kBothTracked : 0);
  location->pose = seen.pose;
  if (velocity != nullptr && !has("still")) {
    velocity->velocityFlags = XR_SPACE_VELOCITY_LINEAR_VALID_BIT | XR_SPACE_VELOCITY_ANGULAR_VALID_BIT;
    velocity->linearVelocity = seen.linear;
    velocity->angularVelocity = seen.angular;
  }
  return XR_SUCCESS;
}

XrResult XRAPI_CALL CreateHandTrackerEXT(XrSession handle, const XrHandTrackerCreateInfoEXT* info,
                                         XrHandTrackerEXT* tracker) {
  World& w = world();
  const Lock lock(w.mutex);
  Session* session = find_session(handle, "xrCreateHandTrackerEXT");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  Types chain = {kDataSourceInfo};
  if (!enabled("XR_EXT_hand_tracking_data_source")) chain = {};
  if (!well_formed(info, XR_TYPE_HAND_TRACKER_CREATE_INFO_EXT, chain, "xrCreateHandTrackerEXT")) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  if (has("handless")) return XR_ERROR_FEATURE_UNSUPPORTED;
  *tracker = reinterpret_cast<XrHandTrackerEXT>(std::uintptr_t(w.handles += 0x10));
  session->trackers[*tracker] = info->hand == XR_HAND_LEFT_EXT ? 0 : 1;
  return XR_SUCCESS;
}

XrResult XRAPI_CALL DestroyHandTrackerEXT(XrHandTrackerEXT tracker) {
  const Lock lock(world().mutex);
  for (auto& [handle, session] : world().sessions) {
    if (session.trackers.erase(tracker) > 0) return XR_SUCCESS;
  }
  return complain(XR_ERROR_HANDLE_INVALID, "xrDestroyHandTrackerEXT: unknown tracker");
}

XrResult XRAPI_CALL LocateHandJointsEXT(XrHandTrackerEXT tracker, const XrHandJointsLocateInfoEXT* info,
                                        XrHandJointLocationsEXT* locations) {
  const Lock lock(world().mutex);
  Session* session = nullptr;
  int hand = 0;
  for (auto& [handle, each] : world().sessions) {
    const auto found = each.trackers.find(tracker);
    if (found == each.trackers.end()) continue;
    session = &each;
    hand = found->second;
  }
  if (session == nullptr) return complain(XR_ERROR_HANDLE_INVALID, "xrLocateHandJointsEXT: unknown tracker");
  Types in_chain = {XR_TYPE_HAND_JOINTS_MOTION_RANGE_INFO_EXT};
  if (!enabled("XR_EXT_hand_joints_motion_range")) in_chain = {};
  Types out_chain = {XR_TYPE_HAND_JOINT_VELOCITIES_EXT, kDataSourceState};
  if (!enabled("XR_EXT_hand_tracking_data_source")) out_chain = {XR_TYPE_HAND_JOINT_VELOCITIES_EXT};
  if (!well_formed(info, XR_TYPE_HAND_JOINTS_LOCATE_INFO_EXT, in_chain, "xrLocateHandJointsEXT") ||
      !well_formed(locations, XR_TYPE_HAND_JOINT_LOCATIONS_EXT, out_chain, "xrLocateHandJointsEXT")) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  Session* base_session = nullptr;
  const Space* base = find_space(info->baseSpace, base_session);
  if (base == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (info->time <= 0) return XR_ERROR_TIME_INVALID;
  XrHandJointVelocitiesEXT* velocities = nullptr;
  for (auto* each = static_cast<XrBaseOutStructure*>(locations->next); each != nullptr; each = each->next) {
    if (each->type == XR_TYPE_HAND_JOINT_VELOCITIES_EXT) velocities = reinterpret_cast<XrHandJointVelocitiesEXT*>(each);
    if (each->type == kDataSourceState) {
      struct State {
        XrStructureType type;
        void* next;
        XrBool32 active;
        std::int32_t source;
      };
      auto* state = reinterpret_cast<State*>(each);
      state->active = world().cameras[hand].on ? XR_TRUE : XR_FALSE;
      state->source = 1;
    }
  }
  if (locations->jointCount != XR_HAND_JOINT_COUNT_EXT ||
      (velocities != nullptr && velocities->jointCount != XR_HAND_JOINT_COUNT_EXT)) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  Motion in;
  bool tracked = true;
  const Camera& camera = world().cameras[hand];
  const bool active = camera.on && session->focused && place(*session, *base, in, tracked);
  locations->isActive = active ? XR_TRUE : XR_FALSE;
  for (int i = 0; i < XR_HAND_JOINT_COUNT_EXT; i++) {
    // A hand like no other: joints in a row, each a centimetre farther.
    const XrPosef offset{{0, 0, 0, 1}, {0, 0, i == XR_HAND_JOINT_WRIST_EXT ? 0.f : -0.01f * float(i + 1)}};
    const Motion seen = seen_from(in, follow(camera.wrist, offset));
    locations->jointLocations[i].locationFlags = active ? kBothValid | kBothTracked : 0;
    locations->jointLocations[i].pose = seen.pose;
    locations->jointLocations[i].radius = active ? 0.005f : 0;
    if (velocities == nullptr) continue;
    velocities->jointVelocities[i].velocityFlags =
        active ? XR_SPACE_VELOCITY_LINEAR_VALID_BIT | XR_SPACE_VELOCITY_ANGULAR_VALID_BIT : 0;
    velocities->jointVelocities[i].linearVelocity = seen.linear;
    velocities->jointVelocities[i].angularVelocity = seen.angular;
  }
  return XR_SUCCESS;
}

}  // namespace

bool place(const Session& session, const Space& space, Motion& motion, bool& tracked) {
  const World& w = world();
  if (space.reference) {
    Motion origin;
    if (space.type == XR_REFERENCE_SPACE_TYPE_VIEW) origin = w.head;
    // The head began 1.5 m above the floor, aside from the middle of the play space, and turned.
    if (space.type == XR_REFERENCE_SPACE_TYPE_STAGE) origin.pose = {{0, 0.6f, 0, 0.8f}, {0.5f, -1.5f, -0.25f}};
    motion = follow(origin, space.offset);
    return true;
  }
  const auto source = session.pose_sources.find({space.action, space.subaction});
  // Some runtimes go on tracking for who has no focus.
  if (source == session.pose_sources.end() || (!session.focused && !has("tracking"))) return false;
  const Controller& controller = w.controllers[source->second];
  if (!controller.on || !controller.located) return false;
  tracked = controller.tracked;
  motion = follow(controller.grip, space.offset);
  return true;
}

PFN_xrVoidFunction space_function(const std::string& name) {
#define TAUTLINE_TEST_FUNCTION(function) \
  if (name == "xr" #function) return reinterpret_cast<PFN_xrVoidFunction>(function);
  TAUTLINE_TEST_FUNCTION(CreateReferenceSpace)
  TAUTLINE_TEST_FUNCTION(CreateActionSpace)
  TAUTLINE_TEST_FUNCTION(DestroySpace)
  TAUTLINE_TEST_FUNCTION(LocateSpace)
  if (enabled("XR_EXT_hand_tracking")) {
    TAUTLINE_TEST_FUNCTION(CreateHandTrackerEXT)
    TAUTLINE_TEST_FUNCTION(DestroyHandTrackerEXT)
    TAUTLINE_TEST_FUNCTION(LocateHandJointsEXT)
  }
#undef TAUTLINE_TEST_FUNCTION
  return nullptr;
}

}  // namespace test_runtime
