// Hand trackers. When the runtime has its own, the application gets the runtime's handle, and the runtime's hands
// wherever the glove's do not win; else the handles are ours. Locating takes no lock and allocates nothing.
#include <algorithm>
#include <iterator>

#include "layer.hpp"
#include "link.hpp"

namespace tautline::layer {
namespace {

/// One tracker of the application's. Written before its handle, read after it.
struct Tracker {
  std::atomic<XrHandTrackerEXT> handle{XR_NULL_HANDLE};
  Session* session = nullptr;
  Side side = kLeft;
  bool below = false;       ///< the handle is the runtime's
  bool unobstructed = true; ///< the application takes hands that hold no controller
  bool usual = true;        ///< of 26 joints
};

/// Never freed, so that a handle that is no longer valid is found to be so.
Tracker trackers[256];
std::atomic<int> trackers_used{0};
std::mutex trackers_mutex;
std::uint64_t trackers_made = 0;

Tracker* find_tracker(XrHandTrackerEXT handle) {
  if (handle == XR_NULL_HANDLE) return nullptr;
  const int used = trackers_used.load(std::memory_order_acquire);
  for (int i = 0; i < used; i++) {
    if (trackers[i].handle.load(std::memory_order_acquire) == handle) return &trackers[i];
  }
  return nullptr;
}

/// @param handle the runtime's, or null for one of our own
XrHandTrackerEXT add_tracker(Session& session, Side side, bool unobstructed, bool usual,
                             XrHandTrackerEXT handle) {
  const std::lock_guard lock(trackers_mutex);
  const auto free = std::find_if(std::begin(trackers), std::end(trackers),
                                 [](const Tracker& each) { return each.handle.load() == XR_NULL_HANDLE; });
  if (free == std::end(trackers)) return XR_NULL_HANDLE;
  free->session = &session;
  free->side = side;
  free->below = handle != XR_NULL_HANDLE;
  free->unobstructed = unobstructed;
  free->usual = usual;
  // Never the same again, and odd, as no address is.
  if (handle == XR_NULL_HANDLE) handle = reinterpret_cast<XrHandTrackerEXT>(std::uintptr_t(++trackers_made << 1 | 1));
  free->handle.store(handle, std::memory_order_release);
  const int used = static_cast<int>(free - std::begin(trackers)) + 1;
  if (used > trackers_used.load()) trackers_used.store(used, std::memory_order_release);
  session.trackers++;
  return handle;
}

void drop_tracker(Tracker& tracker) {
  const std::lock_guard lock(trackers_mutex);
  tracker.session->trackers--;
  tracker.handle.store(XR_NULL_HANDLE, std::memory_order_release);
}

/// Whether an application may have hands here, as it was told by the system properties.
bool tracks_hands(Instance& instance) {
  const int told = instance.tracks_hands.load();
  if (told >= 0) return told == 1;
  return instance.hand_tracking.below || Link::get().has_service();
}

/// @return false: the list is empty, has doubles or unknown values. @param unobstructed whether it has that
bool read_sources(const DataSourceInfo& info, bool& unobstructed) {
  if (info.requestedDataSourceCount == 0 || info.requestedDataSources == nullptr) return false;
  unobstructed = false;
  unsigned seen = 0;
  for (std::uint32_t i = 0; i < info.requestedDataSourceCount; i++) {
    const HandDataSource source = info.requestedDataSources[i];
    if (source != HandDataSource::kUnobstructed && source != HandDataSource::kController) return false;
    const unsigned bit = 1u << static_cast<int>(source);
    if ((seen & bit) != 0) return false;
    seen |= bit;
    unobstructed = unobstructed || source == HandDataSource::kUnobstructed;
  }
  return true;
}

void make_inactive(XrHandJointLocationsEXT& locations, XrHandJointVelocitiesEXT* velocities) {
  locations.isActive = XR_FALSE;
  for (std::uint32_t i = 0; i < locations.jointCount; i++) {
    locations.jointLocations[i].locationFlags = 0;
    locations.jointLocations[i].radius = 0;
    locations.jointLocations[i].pose = kIdentity;
    if (velocities != nullptr) velocities->jointVelocities[i] = XrHandJointVelocityEXT{};
  }
}

void tell_source(DataSourceState* state, bool active) {
  if (state == nullptr) return;
  state->isActive = active ? XR_TRUE : XR_FALSE;
  state->dataSource = HandDataSource::kUnobstructed;
}

XrResult locate_below(const Tracker& tracker, const XrHandJointsLocateInfoEXT* info,
                      XrHandJointLocationsEXT* locations, bool without_source) {
  const Next& next = tracker.session->instance->next;
  const XrHandTrackerEXT handle = tracker.handle.load(std::memory_order_relaxed);
  XrHandJointsLocateInfoEXT plain = *info;
  // A range that the runtime does not know; its own hand is the unobstructed one.
  if (tracker.session->instance->motion_range.emulated() && info->next != nullptr &&
      static_cast<const XrBaseInStructure*>(info->next)->type == XR_TYPE_HAND_JOINTS_MOTION_RANGE_INFO_EXT) {
    plain.next = static_cast<const XrBaseInStructure*>(info->next)->next;
  }
  if (!without_source) return next.LocateHandJointsEXT(handle, &plain, locations);
  const Unlinked without(locations, kTypeDataSourceState);
  return next.LocateHandJointsEXT(handle, &plain, locations);
}

/// What the runtime would have refused, for a tracker of our own; but for the base space.
XrResult check_call(const Tracker& tracker, const XrHandJointsLocateInfoEXT& info,
                    const XrHandJointLocationsEXT& locations, const XrHandJointVelocitiesEXT* velocities) {
  const Instance& instance = *tracker.session->instance;
  if (locations.jointCount != kJoints || locations.jointLocations == nullptr) return XR_ERROR_VALIDATION_FAILURE;
  if (velocities != nullptr && (velocities->jointCount != kJoints || velocities->jointVelocities == nullptr)) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  if (instance.motion_range.asked) {
    const auto* range = find_in_chain<const XrHandJointsMotionRangeInfoEXT>(
        info.next, XR_TYPE_HAND_JOINTS_MOTION_RANGE_INFO_EXT);
    if (range != nullptr && range->handJointsMotionRange != XR_HAND_JOINTS_MOTION_RANGE_UNOBSTRUCTED_EXT &&
        range->handJointsMotionRange != XR_HAND_JOINTS_MOTION_RANGE_CONFORMING_TO_CONTROLLER_EXT) {
      return XR_ERROR_VALIDATION_FAILURE;
    }
  }
  return info.time <= 0 ? XR_ERROR_TIME_INVALID : XR_SUCCESS;
}

/// Whether the base space is one, by locating in it.
XrResult check_base(const Session& session, const XrHandJointsLocateInfoEXT& info) {
  XrSpaceLocation location{XR_TYPE_SPACE_LOCATION, nullptr, 0, kIdentity};
  const XrSpace reference = session.reference.load(std::memory_order_relaxed);
  return session.instance->next.LocateSpace(reference, info.baseSpace, info.time, &location);
}

/// The wrist of a hand that the runtime tracks by itself.
Wrist wrist_of(const XrHandJointLocationsEXT& locations, const XrHandJointVelocitiesEXT* velocities) {
  Wrist wrist;
  if (locations.isActive != XR_TRUE) return wrist;
  const XrHandJointLocationEXT& joint = locations.jointLocations[XR_HAND_JOINT_WRIST_EXT];
  wrist.valid = (joint.locationFlags & kValid) == kValid;
  wrist.tracked = (joint.locationFlags & XR_SPACE_LOCATION_POSITION_TRACKED_BIT) != 0 &&
                  (joint.locationFlags & XR_SPACE_LOCATION_ORIENTATION_TRACKED_BIT) != 0;
  wrist.pose = joint.pose;
  if (velocities == nullptr) return wrist;
  const XrHandJointVelocityEXT& velocity = velocities->jointVelocities[XR_HAND_JOINT_WRIST_EXT];
  wrist.has_velocity = (velocity.velocityFlags & kMoving) == kMoving;
  wrist.linear = velocity.linearVelocity;
  wrist.angular = velocity.angularVelocity;
  return wrist;
}

}  // namespace

void forget_trackers(const Session& session) {
  for (Tracker& tracker : trackers) {
    if (tracker.handle.load() != XR_NULL_HANDLE && tracker.session == &session) drop_tracker(tracker);
  }
}

bool camera_wrist(const Session& session, Side side, XrSpace base, XrTime time, Wrist& wrist) {
  const XrHandTrackerEXT camera = session.cameras[side].load(std::memory_order_acquire);
  if (camera == XR_NULL_HANDLE) return false;
  XrHandJointLocationEXT joints[kJoints];
  XrHandJointVelocityEXT moving[kJoints];
  XrHandJointVelocitiesEXT velocities{XR_TYPE_HAND_JOINT_VELOCITIES_EXT, nullptr, kJoints, moving};
  XrHandJointLocationsEXT locations{XR_TYPE_HAND_JOINT_LOCATIONS_EXT, &velocities, XR_FALSE, kJoints, joints};
  const XrHandJointsLocateInfoEXT info{XR_TYPE_HAND_JOINTS_LOCATE_INFO_EXT, nullptr, base, time};
  if (XR_FAILED(session.instance->next.LocateHandJointsEXT(camera, &info, &locations))) return false;
  wrist = wrist_of(locations, &velocities);
  return wrist.valid;
}

void open_cameras(Session& session) {
  const Instance& instance = *session.instance;
  if (!instance.hand_tracking.below || instance.next.CreateHandTrackerEXT == nullptr) return;
  for (const Side side : kBothSides) {
    if (session.cameras[side].load() != XR_NULL_HANDLE) continue;
    const XrHandTrackerCreateInfoEXT info{XR_TYPE_HAND_TRACKER_CREATE_INFO_EXT, nullptr,
                                          side == kLeft ? XR_HAND_LEFT_EXT : XR_HAND_RIGHT_EXT,
                                          XR_HAND_JOINT_SET_DEFAULT_EXT};
    XrHandTrackerEXT camera = XR_NULL_HANDLE;
    if (XR_SUCCEEDED(instance.next.CreateHandTrackerEXT(session.handle, &info, &camera))) {
      session.cameras[side].store(camera, std::memory_order_release);
    }
  }
}

XRAPI_ATTR XrResult XRAPI_CALL CreateHandTrackerEXT(XrSession handle, const XrHandTrackerCreateInfoEXT* info,
                                                    XrHandTrackerEXT* tracker) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    Instance& instance = *session->instance;
    if (info == nullptr || tracker == nullptr || info->type != XR_TYPE_HAND_TRACKER_CREATE_INFO_EXT ||
        (info->hand != XR_HAND_LEFT_EXT && info->hand != XR_HAND_RIGHT_EXT)) {
      return XR_ERROR_VALIDATION_FAILURE;
    }
    bool unobstructed = true;
    const auto* sources = instance.data_source.asked
                              ? find_in_chain<const DataSourceInfo>(info->next, kTypeDataSourceInfo)
                              : nullptr;
    if (sources != nullptr && !read_sources(*sources, unobstructed)) return XR_ERROR_VALIDATION_FAILURE;
    if (!tracks_hands(instance)) return XR_ERROR_FEATURE_UNSUPPORTED;
    const Side side = info->hand == XR_HAND_LEFT_EXT ? kLeft : kRight;
    XrHandTrackerEXT below = XR_NULL_HANDLE;
    if (instance.hand_tracking.below) {
      XrHandTrackerCreateInfoEXT plain = *info;
      if (instance.data_source.emulated() && info->next == sources && sources != nullptr) plain.next = sources->next;
      const XrResult result = instance.next.CreateHandTrackerEXT(handle, &plain, &below);
      // The runtime knows the functions, and its system has no hands: ours are there.
      if (XR_FAILED(result) && result != XR_ERROR_FEATURE_UNSUPPORTED) return result;
      if (XR_FAILED(result)) below = XR_NULL_HANDLE;
    }
    const bool usual = info->handJointSet == XR_HAND_JOINT_SET_DEFAULT_EXT;
    if (below == XR_NULL_HANDLE && !usual) return XR_ERROR_VALIDATION_FAILURE;
    XrHandTrackerEXT made = XR_NULL_HANDLE;
    // Other joints than a glove has are the runtime's business alone.
    if (reference_of(*session) != XR_NULL_HANDLE) made = add_tracker(*session, side, unobstructed, usual, below);
    if (made == XR_NULL_HANDLE && below != XR_NULL_HANDLE) instance.next.DestroyHandTrackerEXT(below);
    if (made == XR_NULL_HANDLE) return XR_ERROR_LIMIT_REACHED;
    *tracker = made;
    return XR_SUCCESS;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL DestroyHandTrackerEXT(XrHandTrackerEXT handle) {
  return guarded([&] {
    Tracker* tracker = find_tracker(handle);
    if (tracker == nullptr) return XR_ERROR_HANDLE_INVALID;
    if (tracker->below) {
      const XrResult result = tracker->session->instance->next.DestroyHandTrackerEXT(handle);
      if (XR_FAILED(result)) return result;
    }
    drop_tracker(*tracker);
    return XR_SUCCESS;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL LocateHandJointsEXT(XrHandTrackerEXT handle, const XrHandJointsLocateInfoEXT* info,
                                                   XrHandJointLocationsEXT* locations) {
  const Tracker* tracker = find_tracker(handle);
  if (tracker == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (info == nullptr || info->type != XR_TYPE_HAND_JOINTS_LOCATE_INFO_EXT || locations == nullptr ||
      locations->type != XR_TYPE_HAND_JOINT_LOCATIONS_EXT) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  const Session& session = *tracker->session;
  const Instance& instance = *session.instance;
  auto* velocities =
      find_in_chain<XrHandJointVelocitiesEXT>(locations->next, XR_TYPE_HAND_JOINT_VELOCITIES_EXT);
  auto* source = instance.data_source.asked ? find_in_chain<DataSourceState>(locations->next, kTypeDataSourceState)
                                            : nullptr;
  const Side side = tracker->side;
  const bool focused = session.focused.load(std::memory_order_relaxed);
  Link& link = Link::get();
  Report& report = link.report();
  HandSample sample;
  float ahead_s = 0;
  const bool live = focused && tracker->unobstructed && tracker->usual &&
                    link.sample(side, local_ns(instance, info->time), sample, ahead_s);
  Wrist wrist;
  WristBy by = WristBy::kController;
  if (tracker->below) {
    const XrResult result =
        locate_below(*tracker, info, locations, source != nullptr && instance.data_source.emulated());
    if (XR_FAILED(result)) return result;
    if (source != nullptr && instance.data_source.emulated()) {
      if (!tracker->unobstructed) make_inactive(*locations, velocities);
      tell_source(source, locations->isActive == XR_TRUE);
    }
    const bool seen = locations->isActive == XR_TRUE;
    if (!live) {
      report.located(side, seen ? Fingers::kRuntime : Fingers::kNobody, seen ? WristBy::kCamera : WristBy::kNobody, 0);
      return result;
    }
    grip_wrist(session, sample, side, info->baseSpace, info->time, wrist);
    if (!wrist.valid || (wrist.tracked == false && seen)) {
      const Wrist camera = wrist_of(*locations, velocities);
      if (camera.valid) {
        wrist = camera;
        by = WristBy::kCamera;
      }
    }
    if (!wrist.valid) {
      report.located(side, seen ? Fingers::kRuntime : Fingers::kNobody, WristBy::kNobody, 0);
      return result;
    }
  } else {
    XrResult result = check_call(*tracker, *info, *locations, velocities);
    if (XR_FAILED(result)) return result;
    const bool by_grip = live && session.grip_spaces[side].load(std::memory_order_relaxed) != XR_NULL_HANDLE;
    // Either checks the base space.
    result = by_grip ? grip_wrist(session, sample, side, info->baseSpace, info->time, wrist)
                     : check_base(session, *info);
    if (XR_FAILED(result)) return result;
    if (!wrist.valid) {
      make_inactive(*locations, velocities);
      tell_source(source, false);
      report.located(side, Fingers::kNobody, WristBy::kNobody, 0);
      return XR_SUCCESS;
    }
  }
  JointState joints[kJoints];
  carry_ahead(sample, ahead_s, joints);
  put_on_wrist(joints, sample.fingers, wrist, locations->jointLocations,
               velocities == nullptr ? nullptr : velocities->jointVelocities);
  locations->isActive = XR_TRUE;
  tell_source(source, true);
  report.located(side, Fingers::kGlove, by, link.age_us(side));
  return XR_SUCCESS;
}

}  // namespace tautline::layer
