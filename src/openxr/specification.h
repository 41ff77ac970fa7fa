// What the OpenXR specification has and older packaged headers do not; under names of our own, so that newer headers
// do no harm. Values and layouts from the specification, version 1.1.
#ifndef TAUTLINE_OPENXR_SPECIFICATION_H
#define TAUTLINE_OPENXR_SPECIFICATION_H

#include <openxr/openxr.h>

namespace tautline::layer {

// XR_EXT_hand_interaction, version 2
constexpr const char* kHandInteraction = "XR_EXT_hand_interaction";
constexpr std::uint32_t kHandInteractionVersion = 2;
constexpr const char* kHandInteractionProfile = "/interaction_profiles/ext/hand_interaction_ext";

// XR_EXT_hand_tracking_data_source, version 1
constexpr const char* kDataSource = "XR_EXT_hand_tracking_data_source";
constexpr std::uint32_t kDataSourceVersion = 1;
constexpr auto kTypeDataSourceInfo = static_cast<XrStructureType>(1000428000);
constexpr auto kTypeDataSourceState = static_cast<XrStructureType>(1000428001);
enum class HandDataSource : std::int32_t { kUnobstructed = 1, kController = 2 };
struct DataSourceInfo {
  XrStructureType type;
  const void* next;
  std::uint32_t requestedDataSourceCount;
  const HandDataSource* requestedDataSources;
};
struct DataSourceState {
  XrStructureType type;
  void* next;
  XrBool32 isActive;
  HandDataSource dataSource;
};

// xrLocateSpaces: OpenXR 1.1 and XR_KHR_locate_spaces
constexpr auto kTypeSpacesLocateInfo = static_cast<XrStructureType>(1000471000);
constexpr auto kTypeSpaceLocations = static_cast<XrStructureType>(1000471001);
constexpr auto kTypeSpaceVelocities = static_cast<XrStructureType>(1000471002);
struct SpacesLocateInfo {
  XrStructureType type;
  const void* next;
  XrSpace baseSpace;
  XrTime time;
  std::uint32_t spaceCount;
  const XrSpace* spaces;
};
struct SpaceLocationData {
  XrSpaceLocationFlags locationFlags;
  XrPosef pose;
};
struct SpaceLocations {
  XrStructureType type;
  void* next;
  std::uint32_t locationCount;
  SpaceLocationData* locations;
};
struct SpaceVelocityData {
  XrSpaceVelocityFlags velocityFlags;
  XrVector3f linearVelocity;
  XrVector3f angularVelocity;
};
struct SpaceVelocities {
  XrStructureType type;
  void* next;
  std::uint32_t velocityCount;
  SpaceVelocityData* velocities;
};
using LocateSpaces = XrResult(XRAPI_PTR*)(XrSession, const SpacesLocateInfo*, SpaceLocations*);

// XR_EXT_active_action_set_priority
constexpr auto kTypeActiveSetPriorities = static_cast<XrStructureType>(1000373000);
struct ActiveSetPriority {
  XrActionSet actionSet;
  std::uint32_t priorityOverride;
};
struct ActiveSetPriorities {
  XrStructureType type;
  const void* next;
  std::uint32_t actionSetPriorityCount;
  const ActiveSetPriority* actionSetPriorities;
};

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_SPECIFICATION_H
