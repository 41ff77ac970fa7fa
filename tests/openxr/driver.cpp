// A headless OpenXR application that does what it is told: one command a line, one line of JSON back. It knows nothing
// of layers or gloves; it goes through the loader like any application.
#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <functional>
#include <iostream>
#include <map>
#include <new>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

#ifdef _WIN32
#include <windows.h>
#else
#include <dlfcn.h>
#endif

#include <openxr/openxr.h>

// Counts what is allocated, in whatever library, for the test that says locating allocates nothing.
/// Of this thread: what the layer's own thread does meanwhile is no cost of a call.
static thread_local long allocations = 0;
#ifdef TAUTLINE_COUNT_ALLOCATIONS
extern "C" void* __libc_malloc(std::size_t);
extern "C" void* malloc(std::size_t size) {
  allocations++;
  return __libc_malloc(size);
}
#endif

namespace {

constexpr int kJoints = XR_HAND_JOINT_COUNT_EXT;

struct DataSourceInfo {
  XrStructureType type = static_cast<XrStructureType>(1000428000);
  const void* next = nullptr;
  std::uint32_t count = 0;
  const std::int32_t* sources = nullptr;
};
struct DataSourceState {
  XrStructureType type = static_cast<XrStructureType>(1000428001);
  void* next = nullptr;
  XrBool32 active = XR_FALSE;
  std::int32_t source = 0;
};

XrInstance instance = XR_NULL_HANDLE;
XrSession session = XR_NULL_HANDLE;
XrSystemId system_id = 0;
std::map<std::string, XrActionSet> sets;
std::map<std::string, XrAction> actions;
std::map<std::string, XrActionType> types;
std::map<std::string, XrSpace> spaces;
std::map<std::string, XrHandTrackerEXT> trackers;
XrTime displayed = 0;
PFN_xrCreateHandTrackerEXT create_tracker = nullptr;
PFN_xrDestroyHandTrackerEXT destroy_tracker = nullptr;
PFN_xrLocateHandJointsEXT locate_joints = nullptr;

std::string quoted(const std::string& text) {
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') out += '\\';
    out += c;
  }
  return out + "\"";
}

std::string tell_runtime(const std::string& line) {
  using Command = void (*)(const char*, char*, std::size_t);
  const char* path = std::getenv("TAUTLINE_TEST_RUNTIME_LIBRARY");
  char reply[8192] = "no runtime";
#ifdef _WIN32
  const HMODULE library = ::LoadLibraryA(path);
  const auto command = reinterpret_cast<Command>(reinterpret_cast<void*>(::GetProcAddress(library, "test_runtime_command")));
#else
  void* library = ::dlopen(path, RTLD_NOW | RTLD_LOCAL);
  if (library == nullptr) return ::dlerror();
  const auto command = reinterpret_cast<Command>(::dlsym(library, "test_runtime_command"));
#endif
  if (command != nullptr) command(line.c_str(), reply, sizeof reply);
  return reply;
}

XrTime runtime_now() { return std::strtoll(tell_runtime("now").c_str(), nullptr, 10); }

XrPath path(const std::string& text) {
  XrPath made = XR_NULL_PATH;
  if (xrStringToPath(instance, text.c_str(), &made) != XR_SUCCESS) return XR_NULL_PATH;
  return made;
}
std::string text_of(XrPath which) {
  char text[XR_MAX_PATH_LENGTH];
  std::uint32_t size = 0;
  if (which == XR_NULL_PATH || xrPathToString(instance, which, sizeof text, &size, text) != XR_SUCCESS) return "";
  return text;
}
XrPath hand_path(const std::string& hand) { return hand.empty() || hand == "any" ? XR_NULL_PATH : path("/user/hand/" + hand); }

std::vector<std::string> words(std::istringstream& in) {
  std::vector<std::string> all;
  for (std::string word; in >> word;) all.push_back(word);
  return all;
}

std::string result(XrResult value) { return "{\"result\":" + std::to_string(value) + "}"; }
std::string result(XrResult value, const std::string& more) {
  return "{\"result\":" + std::to_string(value) + "," + more + "}";
}
std::string number(double value) {
  char text[40];
  std::snprintf(text, sizeof text, "%.9g", value);
  return text;
}

template <typename Function>
XrResult look_up(const char* name, Function& function) {
  PFN_xrVoidFunction found = nullptr;
  const XrResult value = xrGetInstanceProcAddr(instance, name, &found);
  function = reinterpret_cast<Function>(found);
  return value;
}

/// api=1.1, then extensions
std::string create(std::istringstream& in) {
  XrInstanceCreateInfo info{XR_TYPE_INSTANCE_CREATE_INFO};
  info.applicationInfo.apiVersion = XR_MAKE_VERSION(1, 0, 0);
  std::strcpy(info.applicationInfo.applicationName, "driver \"of\" tests");
  const std::vector<std::string> all = words(in);
  std::vector<const char*> names = {"XR_MND_headless"};
  for (const std::string& each : all) names.push_back(each.c_str());
  info.enabledExtensionCount = static_cast<std::uint32_t>(names.size());
  info.enabledExtensionNames = names.data();
  const XrResult value = xrCreateInstance(&info, &instance);
  if (XR_FAILED(value)) return result(value);
  look_up("xrCreateHandTrackerEXT", create_tracker);
  look_up("xrDestroyHandTrackerEXT", destroy_tracker);
  look_up("xrLocateHandJointsEXT", locate_joints);
  return result(value);
}

std::string extensions(std::istringstream&) {
  std::uint32_t count = 0;
  xrEnumerateInstanceExtensionProperties(nullptr, 0, &count, nullptr);
  XrExtensionProperties empty{XR_TYPE_EXTENSION_PROPERTIES};
  std::vector<XrExtensionProperties> all(count, empty);
  const XrResult value = xrEnumerateInstanceExtensionProperties(nullptr, count, &count, all.data());
  std::string list;
  for (const auto& each : all) list += (list.empty() ? "" : ",") + quoted(each.extensionName);
  return result(value, "\"names\":[" + list + "]");
}

std::string function(std::istringstream& in) {
  std::string name;
  in >> name;
  PFN_xrVoidFunction found = nullptr;
  return result(xrGetInstanceProcAddr(instance, name.c_str(), &found));
}

std::string get_system(std::istringstream& in) {
  std::string with;
  in >> with;
  XrSystemGetInfo info{XR_TYPE_SYSTEM_GET_INFO};
  info.formFactor = XR_FORM_FACTOR_HEAD_MOUNTED_DISPLAY;
  XrResult value = xrGetSystem(instance, &info, &system_id);
  if (XR_FAILED(value)) return result(value);
  XrSystemHandTrackingPropertiesEXT hands{XR_TYPE_SYSTEM_HAND_TRACKING_PROPERTIES_EXT};
  hands.supportsHandTracking = 7;
  XrSystemProperties properties{XR_TYPE_SYSTEM_PROPERTIES};
  if (with == "hands") properties.next = &hands;
  value = xrGetSystemProperties(instance, system_id, &properties);
  const bool kept = with != "hands" || properties.next == &hands;
  return result(value, "\"hands\":" + std::to_string(hands.supportsHandTracking) + ",\"chainKept\":" +
                           (kept ? "true" : "false"));
}

std::string make_session(std::istringstream&) {
  XrSessionCreateInfo info{XR_TYPE_SESSION_CREATE_INFO};
  info.systemId = system_id;
  return result(xrCreateSession(instance, &info, &session));
}

std::string begin(std::istringstream&) {
  XrSessionBeginInfo info{XR_TYPE_SESSION_BEGIN_INFO};
  info.primaryViewConfigurationType = XR_VIEW_CONFIGURATION_TYPE_PRIMARY_STEREO;
  return result(xrBeginSession(session, &info));
}

std::string poll(std::istringstream&) {
  std::string list;
  XrResult value;
  for (;;) {
    XrEventDataBuffer data{XR_TYPE_EVENT_DATA_BUFFER};
    value = xrPollEvent(instance, &data);
    if (value != XR_SUCCESS) break;
    list += list.empty() ? "" : ",";
    if (data.type == XR_TYPE_EVENT_DATA_SESSION_STATE_CHANGED) {
      list += "\"state " + std::to_string(reinterpret_cast<XrEventDataSessionStateChanged*>(&data)->state) + "\"";
    } else if (data.type == XR_TYPE_EVENT_DATA_INTERACTION_PROFILE_CHANGED) {
      const bool ours = reinterpret_cast<XrEventDataInteractionProfileChanged*>(&data)->session == session;
      list += ours ? "\"profile\"" : "\"profile of another session\"";
    } else {
      list += "\"" + std::to_string(data.type) + "\"";
    }
  }
  return result(value == XR_EVENT_UNAVAILABLE ? XR_SUCCESS : value, "\"events\":[" + list + "]");
}

XrResult frame() {
  XrFrameState state{XR_TYPE_FRAME_STATE};
  XrResult value = xrWaitFrame(session, nullptr, &state);
  if (value != XR_SUCCESS) return value;
  displayed = state.predictedDisplayTime;
  value = xrBeginFrame(session, nullptr);
  if (value != XR_SUCCESS) return value;
  XrFrameEndInfo end{XR_TYPE_FRAME_END_INFO};
  end.displayTime = displayed;
  end.environmentBlendMode = XR_ENVIRONMENT_BLEND_MODE_OPAQUE;
  return xrEndFrame(session, &end);
}

std::string frames(std::istringstream& in) {
  int count = 1;
  in >> count;
  XrResult value = XR_SUCCESS;
  for (int i = 0; i < count && value == XR_SUCCESS; i++) value = frame();
  return result(value);
}

/// NAME PRIORITY [actual name]
std::string make_set(std::istringstream& in) {
  std::string name, real;
  XrActionSetCreateInfo info{XR_TYPE_ACTION_SET_CREATE_INFO};
  in >> name >> info.priority;
  if (!(in >> real)) real = name;
  std::strcpy(info.actionSetName, real.c_str());
  std::strcpy(info.localizedActionSetName, ("Set " + real).c_str());
  return result(xrCreateActionSet(instance, &info, &sets[name]));
}

/// SET NAME TYPE [left] [right]
std::string make_action(std::istringstream& in) {
  std::string set, name, type;
  in >> set >> name >> type;
  const std::map<std::string, XrActionType> known = {{"bool", XR_ACTION_TYPE_BOOLEAN_INPUT},
                                                     {"float", XR_ACTION_TYPE_FLOAT_INPUT},
                                                     {"vector", XR_ACTION_TYPE_VECTOR2F_INPUT},
                                                     {"pose", XR_ACTION_TYPE_POSE_INPUT},
                                                     {"haptic", XR_ACTION_TYPE_VIBRATION_OUTPUT}};
  XrActionCreateInfo info{XR_TYPE_ACTION_CREATE_INFO};
  info.actionType = types[name] = known.at(type);
  std::strcpy(info.actionName, name.c_str());
  std::strcpy(info.localizedActionName, ("Action " + name).c_str());
  std::vector<XrPath> hands;
  for (const std::string& hand : words(in)) hands.push_back(hand_path(hand));
  info.countSubactionPaths = static_cast<std::uint32_t>(hands.size());
  info.subactionPaths = hands.data();
  return result(xrCreateAction(sets[set], &info, &actions[name]));
}

/// PROFILE [ACTION PATH]...
std::string suggest(std::istringstream& in) {
  std::string profile, action, binding;
  in >> profile;
  std::vector<XrActionSuggestedBinding> all;
  while (in >> action >> binding) all.push_back({actions[action], path(binding)});
  XrInteractionProfileSuggestedBinding info{XR_TYPE_INTERACTION_PROFILE_SUGGESTED_BINDING};
  info.interactionProfile = path(profile);
  info.countSuggestedBindings = static_cast<std::uint32_t>(all.size());
  info.suggestedBindings = all.data();
  return result(xrSuggestInteractionProfileBindings(instance, &info));
}

/// [wrong-type] SET...
std::string attach(std::istringstream& in) {
  XrSessionActionSetsAttachInfo info{XR_TYPE_SESSION_ACTION_SETS_ATTACH_INFO};
  std::vector<XrActionSet> all;
  for (const std::string& name : words(in)) {
    if (name == "wrong-type") info.type = XR_TYPE_ACTIONS_SYNC_INFO;
    else all.push_back(sets[name]);
  }
  info.countActionSets = static_cast<std::uint32_t>(all.size());
  info.actionSets = all.data();
  return result(xrAttachSessionActionSets(session, &info));
}

/// SET[:HAND][=PRIORITY]...
std::string sync(std::istringstream& in) {
  struct Priority {
    XrActionSet set;
    std::uint32_t priority;
  };
  std::vector<XrActiveActionSet> all;
  std::vector<Priority> overrides;
  for (std::string name : words(in)) {
    const std::size_t equals = name.find('=');
    std::uint32_t priority = 0;
    if (equals != std::string::npos) {
      priority = static_cast<std::uint32_t>(std::atoi(name.c_str() + equals + 1));
      name.resize(equals);
    }
    const std::size_t colon = name.find(':');
    const XrActionSet set = sets[name.substr(0, colon)];
    all.push_back({set, colon == std::string::npos ? XR_NULL_PATH : hand_path(name.substr(colon + 1))});
    if (equals != std::string::npos) overrides.push_back({set, priority});
  }
  struct Priorities {
    XrStructureType type = static_cast<XrStructureType>(1000373000);
    const void* next = nullptr;
    std::uint32_t count = 0;
    const Priority* all = nullptr;
  } priorities;
  priorities.count = static_cast<std::uint32_t>(overrides.size());
  priorities.all = overrides.data();
  XrActionsSyncInfo info{XR_TYPE_ACTIONS_SYNC_INFO};
  if (!overrides.empty()) info.next = &priorities;
  info.countActiveActionSets = static_cast<std::uint32_t>(all.size());
  info.activeActionSets = all.data();
  return result(xrSyncActions(session, &info));
}

template <typename State>
std::string tell(XrResult value, const State& state, const std::string& current) {
  return result(value, "\"active\":" + std::to_string(state.isActive) + ",\"changed\":" +
                           std::to_string(state.changedSinceLastSync) + ",\"changedAt\":" +
                           std::to_string(state.lastChangeTime) + ",\"value\":" + current);
}

/// ACTION [HAND] [as=TYPE]
std::string get(std::istringstream& in) {
  std::string name, hand, as;
  in >> name >> hand >> as;
  XrActionStateGetInfo info{XR_TYPE_ACTION_STATE_GET_INFO};
  info.action = actions[name];
  info.subactionPath = hand_path(hand);
  XrActionType type = types[name];
  if (as == "as=bool") type = XR_ACTION_TYPE_BOOLEAN_INPUT;
  switch (type) {
    case XR_ACTION_TYPE_BOOLEAN_INPUT: {
      XrActionStateBoolean state{XR_TYPE_ACTION_STATE_BOOLEAN};
      const XrResult value = xrGetActionStateBoolean(session, &info, &state);
      return tell(value, state, std::to_string(state.currentState));
    }
    case XR_ACTION_TYPE_FLOAT_INPUT: {
      XrActionStateFloat state{XR_TYPE_ACTION_STATE_FLOAT};
      const XrResult value = xrGetActionStateFloat(session, &info, &state);
      return tell(value, state, number(state.currentState));
    }
    case XR_ACTION_TYPE_VECTOR2F_INPUT: {
      XrActionStateVector2f state{XR_TYPE_ACTION_STATE_VECTOR2F};
      const XrResult value = xrGetActionStateVector2f(session, &info, &state);
      return tell(value, state, "[" + number(state.currentState.x) + "," + number(state.currentState.y) + "]");
    }
    default: {
      XrActionStatePose state{XR_TYPE_ACTION_STATE_POSE};
      const XrResult value = xrGetActionStatePose(session, &info, &state);
      return result(value, "\"active\":" + std::to_string(state.isActive));
    }
  }
}

XrPosef read_pose(std::istringstream& in) {
  XrPosef pose{{0, 0, 0, 1}, {0, 0, 0}};
  in >> pose.position.x >> pose.position.y >> pose.position.z >> pose.orientation.x >> pose.orientation.y >>
      pose.orientation.z >> pose.orientation.w;
  if (!in) pose = {{0, 0, 0, 1}, {0, 0, 0}};
  return pose;
}

/// NAME view|local|stage [pose]
std::string make_reference(std::istringstream& in) {
  std::string name, type;
  in >> name >> type;
  XrReferenceSpaceCreateInfo info{XR_TYPE_REFERENCE_SPACE_CREATE_INFO};
  info.referenceSpaceType = type == "view"    ? XR_REFERENCE_SPACE_TYPE_VIEW
                            : type == "stage" ? XR_REFERENCE_SPACE_TYPE_STAGE
                                              : XR_REFERENCE_SPACE_TYPE_LOCAL;
  info.poseInReferenceSpace = read_pose(in);
  return result(xrCreateReferenceSpace(session, &info, &spaces[name]));
}

/// NAME ACTION HAND [pose]
std::string make_space(std::istringstream& in) {
  std::string name, action, hand;
  in >> name >> action >> hand;
  XrActionSpaceCreateInfo info{XR_TYPE_ACTION_SPACE_CREATE_INFO};
  info.action = actions[action];
  info.subactionPath = hand_path(hand);
  info.poseInActionSpace = read_pose(in);
  return result(xrCreateActionSpace(session, &info, &spaces[name]));
}

std::string numbers(const XrVector3f& v) { return number(v.x) + "," + number(v.y) + "," + number(v.z); }
std::string numbers(const XrPosef& p) {
  const XrQuaternionf& q = p.orientation;
  return numbers(p.position) + "," + number(q.x) + "," + number(q.y) + "," + number(q.z) + "," + number(q.w);
}

XrTime read_time(std::istringstream& in) {
  std::string word;
  if (!(in >> word)) return runtime_now();
  if (word == "displayed") return displayed;
  if (word[0] == '+' || word == "-0") return runtime_now() + std::atoll(word.c_str() + 1) * 1000;
  return std::atoll(word.c_str());
}

/// SPACE BASE [TIME]
std::string locate(std::istringstream& in) {
  std::string space, base;
  in >> space >> base;
  XrSpaceVelocity velocity{XR_TYPE_SPACE_VELOCITY};
  XrSpaceLocation location{XR_TYPE_SPACE_LOCATION, &velocity, 0, {}};
  const XrResult value = xrLocateSpace(spaces[space], spaces[base], read_time(in), &location);
  return result(value, "\"flags\":" + std::to_string(location.locationFlags) + ",\"pose\":[" +
                           numbers(location.pose) + "],\"moving\":" + std::to_string(velocity.velocityFlags) +
                           ",\"linear\":[" + numbers(velocity.linearVelocity) + "],\"angular\":[" +
                           numbers(velocity.angularVelocity) + "]");
}

std::string profile(std::istringstream& in) {
  std::string hand;
  in >> hand;
  XrInteractionProfileState state{XR_TYPE_INTERACTION_PROFILE_STATE};
  const XrResult value = xrGetCurrentInteractionProfile(session, hand_path(hand), &state);
  return result(value, "\"profile\":" + quoted(text_of(state.interactionProfile)));
}

std::string sources(std::istringstream& in) {
  std::string action;
  in >> action;
  XrBoundSourcesForActionEnumerateInfo info{XR_TYPE_BOUND_SOURCES_FOR_ACTION_ENUMERATE_INFO};
  info.action = actions[action];
  std::uint32_t count = 0;
  XrResult value = xrEnumerateBoundSourcesForAction(session, &info, 0, &count, nullptr);
  std::vector<XrPath> all(count);
  if (XR_SUCCEEDED(value) && count > 0) {
    value = xrEnumerateBoundSourcesForAction(session, &info, count, &count, all.data());
  }
  std::string list;
  for (const XrPath each : all) {
    XrInputSourceLocalizedNameGetInfo name{XR_TYPE_INPUT_SOURCE_LOCALIZED_NAME_GET_INFO};
    name.sourcePath = each;
    name.whichComponents = 7;
    char text[256] = "";
    std::uint32_t size = 0;
    xrGetInputSourceLocalizedName(session, &name, sizeof text, &size, text);
    list += (list.empty() ? "" : ",") + quoted(text_of(each) + "|" + text);
  }
  return result(value, "\"sources\":[" + list + "]");
}

/// ACTION HAND AMPLITUDE DURATION_NS FREQUENCY
std::string vibrate(std::istringstream& in) {
  std::string action, hand;
  XrHapticVibration vibration{XR_TYPE_HAPTIC_VIBRATION};
  in >> action >> hand >> vibration.amplitude >> vibration.duration >> vibration.frequency;
  XrHapticActionInfo info{XR_TYPE_HAPTIC_ACTION_INFO};
  info.action = actions[action];
  info.subactionPath = hand_path(hand);
  return result(xrApplyHapticFeedback(session, &info, reinterpret_cast<const XrHapticBaseHeader*>(&vibration)));
}

std::string still(std::istringstream& in) {
  std::string action, hand;
  in >> action >> hand;
  XrHapticActionInfo info{XR_TYPE_HAPTIC_ACTION_INFO};
  info.action = actions[action];
  info.subactionPath = hand_path(hand);
  return result(xrStopHapticFeedback(session, &info));
}

/// NAME HAND [set=N] [sources=1,2] [type=wrong] [session=dead]
std::string make_tracker(std::istringstream& in) {
  std::string name, hand;
  in >> name >> hand;
  XrHandTrackerCreateInfoEXT info{XR_TYPE_HAND_TRACKER_CREATE_INFO_EXT};
  info.hand = hand == "left" ? XR_HAND_LEFT_EXT : hand == "right" ? XR_HAND_RIGHT_EXT : static_cast<XrHandEXT>(9);
  info.handJointSet = XR_HAND_JOINT_SET_DEFAULT_EXT;
  std::vector<std::int32_t> asked;
  DataSourceInfo source;
  XrSession where = session;
  for (const std::string& word : words(in)) {
    if (word.rfind("set=", 0) == 0) info.handJointSet = static_cast<XrHandJointSetEXT>(std::atoi(word.c_str() + 4));
    if (word == "type=wrong") info.type = XR_TYPE_SESSION_BEGIN_INFO;
    if (word == "session=dead") where = reinterpret_cast<XrSession>(std::uintptr_t(0xdead));
    if (word.rfind("sources=", 0) == 0) {
      std::istringstream list(word.substr(8));
      for (std::string each; std::getline(list, each, ',');) asked.push_back(std::atoi(each.c_str()));
      source.count = static_cast<std::uint32_t>(asked.size());
      source.sources = asked.data();
      info.next = &source;
    }
  }
  if (create_tracker == nullptr) return result(XR_ERROR_FUNCTION_UNSUPPORTED);
  return result(create_tracker(where, &info, &trackers[name]));
}

std::string drop_tracker(std::istringstream& in) {
  std::string name;
  in >> name;
  return result(destroy_tracker(trackers[name]));
}

/// TRACKER BASE [time=T] [joints=N] [moving=N] [plain] [range=N] [source] [repeat=N]
std::string hands(std::istringstream& in) {
  std::string name, base;
  in >> name >> base;
  XrHandJointLocationEXT joints[kJoints + 1];
  XrHandJointVelocityEXT moving[kJoints + 1];
  std::memset(joints, 0x55, sizeof joints);
  std::memset(moving, 0x55, sizeof moving);
  DataSourceState source;
  XrHandJointVelocitiesEXT velocities{XR_TYPE_HAND_JOINT_VELOCITIES_EXT, nullptr, kJoints, moving};
  XrHandJointLocationsEXT locations{XR_TYPE_HAND_JOINT_LOCATIONS_EXT, &velocities, 9, kJoints, joints};
  XrHandJointsMotionRangeInfoEXT range{XR_TYPE_HAND_JOINTS_MOTION_RANGE_INFO_EXT, nullptr,
                                       XR_HAND_JOINTS_MOTION_RANGE_UNOBSTRUCTED_EXT};
  XrHandJointsLocateInfoEXT info{XR_TYPE_HAND_JOINTS_LOCATE_INFO_EXT};
  info.baseSpace = spaces[base];
  info.time = runtime_now();
  for (const std::string& word : words(in)) {
    const std::size_t equals = word.find('=');
    const std::string key = word.substr(0, equals), value = equals == std::string::npos ? "" : word.substr(equals + 1);
    if (key == "time") {
      std::istringstream time(value);
      info.time = read_time(time);
    } else if (key == "joints") locations.jointCount = static_cast<std::uint32_t>(std::atoi(value.c_str()));
    else if (key == "moving") velocities.jointCount = static_cast<std::uint32_t>(std::atoi(value.c_str()));
    else if (key == "plain") locations.next = nullptr;
    else if (key == "range") {
      range.handJointsMotionRange = static_cast<XrHandJointsMotionRangeEXT>(std::atoi(value.c_str()));
      info.next = &range;
    } else if (key == "source") {
      source.next = locations.next;
      locations.next = &source;
    } else if (key == "badbase") info.baseSpace = reinterpret_cast<XrSpace>(std::uintptr_t(0xbad));
  }
  const void* chain = locations.next;
  const XrResult value = locate_joints(trackers[name], &info, &locations);
  std::string list, speeds;
  for (int i = 0; i < kJoints && XR_SUCCEEDED(value); i++) {
    list += std::string(i ? "," : "") + "[" + std::to_string(joints[i].locationFlags) + "," + numbers(joints[i].pose) +
            "," + number(joints[i].radius) + "]";
    if (locations.next == nullptr) continue;
    speeds += std::string(i ? "," : "") + "[" + std::to_string(moving[i].velocityFlags) + "," +
              numbers(moving[i].linearVelocity) + "," + numbers(moving[i].angularVelocity) + "]";
  }
  // What lies behind the arrays must be as it was.
  const unsigned char* behind = reinterpret_cast<const unsigned char*>(&moving[kJoints]);
  const bool untouched = std::all_of(behind, behind + sizeof moving[0], [](unsigned char c) { return c == 0x55; });
  return result(value, "\"active\":" + std::to_string(locations.isActive) + ",\"joints\":[" + list +
                           "],\"velocities\":[" + speeds + "],\"source\":[" + std::to_string(source.active) + "," +
                           std::to_string(source.source) + "],\"intact\":" +
                           (untouched && locations.next == chain ? "true" : "false"));
}

/// TRACKER BASE COUNT [THREADS]: median and 99th percentile of a call's time, ns; allocations of all calls together
std::string bench(std::istringstream& in) {
  std::string name, base;
  int count = 10000, threads = 1;
  in >> name >> base >> count >> threads;
  std::vector<std::int64_t> times(static_cast<std::size_t>(count));
  std::atomic<long> torn{0}, active{0};
  const auto run = [&](std::vector<std::int64_t>* into) {
    XrHandJointLocationEXT joints[kJoints];
    XrHandJointVelocityEXT moving[kJoints];
    XrHandJointVelocitiesEXT velocities{XR_TYPE_HAND_JOINT_VELOCITIES_EXT, nullptr, kJoints, moving};
    XrHandJointLocationsEXT locations{XR_TYPE_HAND_JOINT_LOCATIONS_EXT, &velocities, XR_FALSE, kJoints, joints};
    XrHandJointsLocateInfoEXT info{XR_TYPE_HAND_JOINTS_LOCATE_INFO_EXT};
    info.baseSpace = spaces[base];
    info.time = displayed;
    using Clock = std::chrono::steady_clock;
    for (int i = 0; i < count; i++) {
      const auto from = Clock::now();
      locate_joints(trackers[name], &info, &locations);
      const auto to = Clock::now();
      if (into) (*into)[static_cast<std::size_t>(i)] = std::chrono::duration_cast<std::chrono::nanoseconds>(to - from).count();
      if (locations.isActive != XR_TRUE) continue;
      active++;
      // A bone keeps its length, unless half of the pose is of another sample.
      for (int j : {7, 8, 9, 12, 13, 14}) {
        const XrVector3f &a = joints[j].pose.position, &b = joints[j + 1].pose.position;
        const double square = (a.x - b.x) * (a.x - b.x) + (a.y - b.y) * (a.y - b.y) + (a.z - b.z) * (a.z - b.z);
        if (!(square > 1e-5 && square < 4e-3)) torn++;
      }
    }
  };
  frame();
  const long before = allocations;
  std::string more;
  if (threads == 1) {
    run(&times);
    const long after = allocations;
    std::sort(times.begin(), times.end());
    more = "\"medianNs\":" + std::to_string(times[times.size() / 2]) + ",\"p99Ns\":" +
           std::to_string(times[times.size() * 99 / 100]) + ",\"allocations\":" + std::to_string(after - before);
  } else {
    std::vector<std::thread> all;
    for (int i = 0; i < threads; i++) all.emplace_back(run, nullptr);
    for (std::thread& each : all) each.join();
    more = "\"allocations\":0";
  }
  return result(XR_SUCCESS, more + ",\"torn\":" + std::to_string(torn) + ",\"active\":" + std::to_string(active));
}

std::string destroy_session(std::istringstream&) { return result(xrDestroySession(session)); }
std::string request_exit(std::istringstream&) { return result(xrRequestExitSession(session)); }
std::string end_session(std::istringstream&) { return result(xrEndSession(session)); }
std::string destroy(std::istringstream&) {
  const XrResult value = xrDestroyInstance(instance);
  sets.clear();
  actions.clear();
  spaces.clear();
  trackers.clear();
  return result(value);
}
std::string destroy_set(std::istringstream& in) {
  std::string name;
  in >> name;
  return result(xrDestroyActionSet(sets[name]));
}
std::string destroy_action(std::istringstream& in) {
  std::string name;
  in >> name;
  return result(xrDestroyAction(actions[name]));
}
std::string destroy_space(std::istringstream& in) {
  std::string name;
  in >> name;
  return result(xrDestroySpace(spaces[name]));
}
std::string runtime(std::istringstream& in) {
  std::string line;
  std::getline(in >> std::ws, line);
  return result(XR_SUCCESS, "\"says\":" + quoted(tell_runtime(line)));
}

}  // namespace

int main() {
  const std::map<std::string, std::function<std::string(std::istringstream&)>> commands = {
      {"create", create},
      {"extensions", extensions},
      {"function", function},
      {"system", get_system},
      {"session", make_session},
      {"begin", begin},
      {"poll", poll},
      {"frames", frames},
      {"set", make_set},
      {"action", make_action},
      {"suggest", suggest},
      {"attach", attach},
      {"sync", sync},
      {"get", get},
      {"reference", make_reference},
      {"space", make_space},
      {"locate", locate},
      {"profile", profile},
      {"sources", sources},
      {"vibrate", vibrate},
      {"still", still},
      {"tracker", make_tracker},
      {"drop", drop_tracker},
      {"hands", hands},
      {"bench", bench},
      {"request-exit", request_exit},
      {"end", end_session},
      {"destroy-session", destroy_session},
      {"destroy-set", destroy_set},
      {"destroy-action", destroy_action},
      {"destroy-space", destroy_space},
      {"destroy", destroy},
      {"runtime", runtime},
  };
  for (std::string line; std::getline(std::cin, line);) {
    std::istringstream in(line);
    std::string verb;
    in >> verb;
    // As an application that simply returns from main.
    if (verb == "quit") return 0;
    const auto found = commands.find(verb);
    std::cout << (found == commands.end() ? "{\"unknown\":true}" : found->second(in)) << std::endl;
  }
  return 0;
}
