// Negotiation, instance, system, session, frames; and the commands of the test.
#include <chrono>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <sstream>
#include <thread>

#include "runtime.hpp"

#ifndef _WIN32
#define XR_USE_TIMESPEC
#endif
#include <openxr/openxr_platform.h>

namespace test_runtime {
namespace {

constexpr XrSystemId kSystem = 7;
const XrInstance kInstance = reinterpret_cast<XrInstance>(std::uintptr_t(0x5eed));
/// XrTime is nothing that another clock shows.
constexpr std::int64_t kEpoch = 5'000'000'000'000;

std::int64_t monotonic() {
  return std::chrono::duration_cast<std::chrono::nanoseconds>(std::chrono::steady_clock::now().time_since_epoch())
      .count();
}

struct Offered {
  const char* feature;
  const char* extension;
  std::uint32_t version;
};
const Offered kOffered[] = {
    {"", "XR_MND_headless", 2},
    {"time", "XR_KHR_convert_timespec_time", 1},
    {"hands", "XR_EXT_hand_tracking", 4},
    {"range", "XR_EXT_hand_joints_motion_range", 1},
    {"source", "XR_EXT_hand_tracking_data_source", 1},
    {"interaction", "XR_EXT_hand_interaction", 2},
    {"priority", "XR_EXT_active_action_set_priority", 1},
    {"vulkan", "XR_KHR_vulkan_enable", 8},
};

bool offered(const std::string& extension) {
  for (const Offered& each : kOffered) {
    if (extension == each.extension && (*each.feature == '\0' || has(each.feature))) return true;
  }
  return false;
}

XrResult XRAPI_CALL EnumerateInstanceExtensionProperties(const char* layer, std::uint32_t capacity,
                                                         std::uint32_t* count, XrExtensionProperties* properties) {
  if (layer != nullptr) return XR_ERROR_API_LAYER_NOT_PRESENT;
  std::vector<const Offered*> all;
  for (const Offered& each : kOffered) {
    if (offered(each.extension)) all.push_back(&each);
  }
  *count = static_cast<std::uint32_t>(all.size());
  if (capacity == 0) return XR_SUCCESS;
  if (capacity < all.size()) return XR_ERROR_SIZE_INSUFFICIENT;
  for (std::size_t i = 0; i < all.size(); i++) {
    if (properties[i].type != XR_TYPE_EXTENSION_PROPERTIES) return complain(XR_ERROR_VALIDATION_FAILURE, "properties");
    std::strcpy(properties[i].extensionName, all[i]->extension);
    properties[i].extensionVersion = all[i]->version;
  }
  return XR_SUCCESS;
}

XrResult XRAPI_CALL CreateInstance(const XrInstanceCreateInfo* info, XrInstance* instance) {
  World& w = world();
  const Lock lock(w.mutex);
  if (!well_formed(info, XR_TYPE_INSTANCE_CREATE_INFO, {XR_TYPE_DEBUG_UTILS_MESSENGER_CREATE_INFO_EXT},
                   "xrCreateInstance")) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  if (w.instance) return XR_ERROR_LIMIT_REACHED;
  std::set<std::string> names;
  for (std::uint32_t i = 0; i < info->enabledExtensionCount; i++) {
    // The loader's own.
    if (std::strcmp(info->enabledExtensionNames[i], "XR_EXT_debug_utils") == 0) continue;
    if (!offered(info->enabledExtensionNames[i])) return XR_ERROR_EXTENSION_NOT_PRESENT;
    names.insert(info->enabledExtensionNames[i]);
  }
  w.instance = true;
  w.instances_made++;
  w.extensions = names;
  *instance = kInstance;
  return XR_SUCCESS;
}

XrResult no_instance(XrInstance instance, const char* function) {
  if (world().instance && instance == kInstance) return XR_SUCCESS;
  return complain(XR_ERROR_HANDLE_INVALID, std::string(function) + ": unknown instance");
}

XrResult XRAPI_CALL DestroyInstance(XrInstance instance) {
  World& w = world();
  const Lock lock(w.mutex);
  if (XrResult bad = no_instance(instance, "xrDestroyInstance"); bad != XR_SUCCESS) return bad;
  w.instance = false;
  w.extensions.clear();
  w.sets.clear();
  w.actions.clear();
  w.suggestions.clear();
  w.sessions.clear();
  w.events.clear();
  return XR_SUCCESS;
}

XrResult XRAPI_CALL GetInstanceProperties(XrInstance instance, XrInstanceProperties* properties) {
  if (XrResult bad = no_instance(instance, "xrGetInstanceProperties"); bad != XR_SUCCESS) return bad;
  properties->runtimeVersion = XR_MAKE_VERSION(1, 0, 0);
  std::strcpy(properties->runtimeName, "strict test runtime");
  return XR_SUCCESS;
}

XrResult XRAPI_CALL GetSystem(XrInstance instance, const XrSystemGetInfo* info, XrSystemId* system) {
  if (XrResult bad = no_instance(instance, "xrGetSystem"); bad != XR_SUCCESS) return bad;
  if (!well_formed(info, XR_TYPE_SYSTEM_GET_INFO, {}, "xrGetSystem")) return XR_ERROR_VALIDATION_FAILURE;
  *system = kSystem;
  return XR_SUCCESS;
}

XrResult XRAPI_CALL GetSystemProperties(XrInstance instance, XrSystemId system, XrSystemProperties* properties) {
  const Lock lock(world().mutex);
  if (XrResult bad = no_instance(instance, "xrGetSystemProperties"); bad != XR_SUCCESS) return bad;
  if (system != kSystem) return XR_ERROR_SYSTEM_INVALID;
  Types chain = {XR_TYPE_SYSTEM_HAND_TRACKING_PROPERTIES_EXT};
  if (!enabled("XR_EXT_hand_tracking")) chain = {};
  if (!well_formed(properties, XR_TYPE_SYSTEM_PROPERTIES, chain, "xrGetSystemProperties")) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  properties->systemId = kSystem;
  properties->vendorId = 0;
  std::strcpy(properties->systemName, "strict test system");
  properties->trackingProperties = {XR_TRUE, XR_TRUE};
  properties->graphicsProperties = {4096, 4096, 16};
  if (properties->next != nullptr) {
    auto* hands = static_cast<XrSystemHandTrackingPropertiesEXT*>(properties->next);
    hands->supportsHandTracking = has("handless") ? XR_FALSE : XR_TRUE;
  }
  return XR_SUCCESS;
}

XrResult XRAPI_CALL CreateSession(XrInstance instance, const XrSessionCreateInfo* info, XrSession* session) {
  World& w = world();
  const Lock lock(w.mutex);
  if (XrResult bad = no_instance(instance, "xrCreateSession"); bad != XR_SUCCESS) return bad;
#ifndef _WIN32
  const bool draws = enabled("XR_KHR_vulkan_enable") && info != nullptr && take_graphics(info->next);
#else
  const bool draws = false;
#endif
  if (!draws && !well_formed(info, XR_TYPE_SESSION_CREATE_INFO, {}, "xrCreateSession")) {
    return XR_ERROR_VALIDATION_FAILURE;
  }
  if (!w.sessions.empty()) return XR_ERROR_LIMIT_REACHED;
  *session = reinterpret_cast<XrSession>(std::uintptr_t(w.handles += 0x10));
  Session& made = w.sessions[*session];
  push_state(*session, made, XR_SESSION_STATE_IDLE);
  push_state(*session, made, XR_SESSION_STATE_READY);
  return XR_SUCCESS;
}

XrResult XRAPI_CALL DestroySession(XrSession session) {
  World& w = world();
  const Lock lock(w.mutex);
  if (find_session(session, "xrDestroySession") == nullptr) return XR_ERROR_HANDLE_INVALID;
  w.sessions.erase(session);
  return XR_SUCCESS;
}

XrResult XRAPI_CALL BeginSession(XrSession handle, const XrSessionBeginInfo* info) {
  const Lock lock(world().mutex);
  Session* session = find_session(handle, "xrBeginSession");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (!well_formed(info, XR_TYPE_SESSION_BEGIN_INFO, {}, "xrBeginSession")) return XR_ERROR_VALIDATION_FAILURE;
  if (session->running) return XR_ERROR_SESSION_RUNNING;
  session->running = true;
  push_state(handle, *session, XR_SESSION_STATE_SYNCHRONIZED);
  push_state(handle, *session, XR_SESSION_STATE_VISIBLE);
  push_state(handle, *session, XR_SESSION_STATE_FOCUSED);
  session->focused = true;
  return XR_SUCCESS;
}

XrResult XRAPI_CALL RequestExitSession(XrSession handle) {
  const Lock lock(world().mutex);
  Session* session = find_session(handle, "xrRequestExitSession");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  session->focused = false;
  session->ending = true;
  for (const XrSessionState state :
       {XR_SESSION_STATE_VISIBLE, XR_SESSION_STATE_SYNCHRONIZED, XR_SESSION_STATE_STOPPING}) {
    push_state(handle, *session, state);
  }
  return XR_SUCCESS;
}

XrResult XRAPI_CALL EndSession(XrSession handle) {
  const Lock lock(world().mutex);
  Session* session = find_session(handle, "xrEndSession");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (!session->running) return XR_ERROR_SESSION_NOT_RUNNING;
  if (!session->ending) return XR_ERROR_SESSION_NOT_STOPPING;
  session->running = false;
  push_state(handle, *session, XR_SESSION_STATE_IDLE);
  push_state(handle, *session, XR_SESSION_STATE_EXITING);
  return XR_SUCCESS;
}

XrResult XRAPI_CALL PollEvent(XrInstance instance, XrEventDataBuffer* data) {
  World& w = world();
  const Lock lock(w.mutex);
  if (XrResult bad = no_instance(instance, "xrPollEvent"); bad != XR_SUCCESS) return bad;
  if (data == nullptr || data->type != XR_TYPE_EVENT_DATA_BUFFER) {
    return complain(XR_ERROR_VALIDATION_FAILURE, "xrPollEvent: buffer");
  }
  if (w.events.empty()) return XR_EVENT_UNAVAILABLE;
  *data = w.events.front();
  w.events.erase(w.events.begin());
  return XR_SUCCESS;
}

XrResult XRAPI_CALL WaitFrame(XrSession handle, const XrFrameWaitInfo*, XrFrameState* state) {
  if (has("paced")) std::this_thread::sleep_for(std::chrono::milliseconds(11));
  const Lock lock(world().mutex);
  Session* session = find_session(handle, "xrWaitFrame");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (!session->running) return XR_ERROR_SESSION_NOT_RUNNING;
  session->frames_waited++;
  state->predictedDisplayPeriod = 11'111'111;
  state->predictedDisplayTime = now() + state->predictedDisplayPeriod;
  state->shouldRender = has("vulkan") ? XR_TRUE : XR_FALSE;
  return XR_SUCCESS;
}

XrResult XRAPI_CALL BeginFrame(XrSession handle, const XrFrameBeginInfo*) {
  const Lock lock(world().mutex);
  Session* session = find_session(handle, "xrBeginFrame");
  if (session == nullptr) return XR_ERROR_HANDLE_INVALID;
  if (session->frames_begun >= session->frames_waited) return XR_ERROR_CALL_ORDER_INVALID;
  session->frames_begun++;
  return XR_SUCCESS;
}

XrResult XRAPI_CALL EndFrame(XrSession handle, const XrFrameEndInfo*) {
  const Lock lock(world().mutex);
  return find_session(handle, "xrEndFrame") == nullptr ? XR_ERROR_HANDLE_INVALID : XR_SUCCESS;
}

XrResult XRAPI_CALL StringToPath(XrInstance instance, const char* text, XrPath* path) {
  const Lock lock(world().mutex);
  if (XrResult bad = no_instance(instance, "xrStringToPath"); bad != XR_SUCCESS) return bad;
  if (text == nullptr || *text != '/') return XR_ERROR_PATH_FORMAT_INVALID;
  *path = path_for(text);
  return XR_SUCCESS;
}

XrResult XRAPI_CALL PathToString(XrInstance instance, XrPath path, std::uint32_t capacity, std::uint32_t* count,
                                 char* buffer) {
  const Lock lock(world().mutex);
  if (XrResult bad = no_instance(instance, "xrPathToString"); bad != XR_SUCCESS) return bad;
  const std::string text = path_text(path);
  if (text.empty()) return XR_ERROR_PATH_INVALID;
  *count = static_cast<std::uint32_t>(text.size() + 1);
  if (capacity == 0) return XR_SUCCESS;
  if (capacity < *count) return XR_ERROR_SIZE_INSUFFICIENT;
  std::memcpy(buffer, text.c_str(), *count);
  return XR_SUCCESS;
}

XrResult XRAPI_CALL ResultToString(XrInstance, XrResult value, char buffer[XR_MAX_RESULT_STRING_SIZE]) {
  std::strcpy(buffer, ("XR_" + std::to_string(value)).c_str());
  return XR_SUCCESS;
}
XrResult XRAPI_CALL StructureTypeToString(XrInstance, XrStructureType value,
                                          char buffer[XR_MAX_STRUCTURE_NAME_SIZE]) {
  std::strcpy(buffer, ("XR_" + std::to_string(value)).c_str());
  return XR_SUCCESS;
}

#ifndef _WIN32
XrResult XRAPI_CALL ConvertTimespecTimeToTimeKHR(XrInstance, const timespec* spec, XrTime* time) {
  world().calls_of_convert++;
  *time = spec->tv_sec * 1'000'000'000LL + spec->tv_nsec + kEpoch;
  return XR_SUCCESS;
}
XrResult XRAPI_CALL ConvertTimeToTimespecTimeKHR(XrInstance, XrTime time, timespec* spec) {
  const std::int64_t ns = time - kEpoch;
  *spec = {static_cast<time_t>(ns / 1'000'000'000), static_cast<long>(ns % 1'000'000'000)};
  return XR_SUCCESS;
}
#endif

/// What a headless application never calls, and loaders and layers look up all the same.
XrResult XRAPI_CALL Nothing() { return complain(XR_ERROR_FUNCTION_UNSUPPORTED, "a function that is not there"); }
const char* const kNothing[] = {
    "xrEnumerateViewConfigurations", "xrGetViewConfigurationProperties", "xrEnumerateViewConfigurationViews",
    "xrEnumerateSwapchainFormats",   "xrCreateSwapchain",                "xrDestroySwapchain",
    "xrEnumerateSwapchainImages",    "xrAcquireSwapchainImage",          "xrWaitSwapchainImage",
    "xrReleaseSwapchainImage",       "xrLocateViews",                    "xrEnumerateEnvironmentBlendModes",
    "xrGetReferenceSpaceBoundsRect", "xrEnumerateReferenceSpaces",
};

XrResult XRAPI_CALL GetInstanceProcAddr(XrInstance instance, const char* name, PFN_xrVoidFunction* function) {
  *function = nullptr;
  const std::string text = name;
  if (instance == XR_NULL_HANDLE) {
    if (text == "xrEnumerateInstanceExtensionProperties") {
      *function = reinterpret_cast<PFN_xrVoidFunction>(EnumerateInstanceExtensionProperties);
    } else if (text == "xrCreateInstance") {
      *function = reinterpret_cast<PFN_xrVoidFunction>(CreateInstance);
    }
    return *function == nullptr ? XR_ERROR_HANDLE_INVALID : XR_SUCCESS;
  }
  const Lock lock(world().mutex);
#ifndef _WIN32
  // In place of what a headless application never calls.
  *function = graphics_function(text);
  if (*function != nullptr) return XR_SUCCESS;
#endif
  *function = core_function(text);
  if (*function == nullptr) *function = action_function(text);
  if (*function == nullptr) *function = space_function(text);
  for (const char* each : kNothing) {
    if (text == each) *function = reinterpret_cast<PFN_xrVoidFunction>(Nothing);
  }
  return *function == nullptr ? XR_ERROR_FUNCTION_UNSUPPORTED : XR_SUCCESS;
}

}  // namespace

PFN_xrVoidFunction core_function(const std::string& name) {
#define TAUTLINE_TEST_FUNCTION(function) \
  if (name == "xr" #function) return reinterpret_cast<PFN_xrVoidFunction>(function);
  TAUTLINE_TEST_FUNCTION(EnumerateInstanceExtensionProperties)
  TAUTLINE_TEST_FUNCTION(GetInstanceProcAddr)
  TAUTLINE_TEST_FUNCTION(DestroyInstance)
  TAUTLINE_TEST_FUNCTION(GetInstanceProperties)
  TAUTLINE_TEST_FUNCTION(GetSystem)
  TAUTLINE_TEST_FUNCTION(GetSystemProperties)
  TAUTLINE_TEST_FUNCTION(CreateSession)
  TAUTLINE_TEST_FUNCTION(DestroySession)
  TAUTLINE_TEST_FUNCTION(BeginSession)
  TAUTLINE_TEST_FUNCTION(EndSession)
  TAUTLINE_TEST_FUNCTION(RequestExitSession)
  TAUTLINE_TEST_FUNCTION(PollEvent)
  TAUTLINE_TEST_FUNCTION(WaitFrame)
  TAUTLINE_TEST_FUNCTION(BeginFrame)
  TAUTLINE_TEST_FUNCTION(EndFrame)
  TAUTLINE_TEST_FUNCTION(StringToPath)
  TAUTLINE_TEST_FUNCTION(PathToString)
  TAUTLINE_TEST_FUNCTION(ResultToString)
  TAUTLINE_TEST_FUNCTION(StructureTypeToString)
#ifndef _WIN32
  if (enabled("XR_KHR_convert_timespec_time")) {
    TAUTLINE_TEST_FUNCTION(ConvertTimespecTimeToTimeKHR)
    TAUTLINE_TEST_FUNCTION(ConvertTimeToTimespecTimeKHR)
  }
#endif
  return nullptr;
}

World& world() {
  static World* const w = [] {
    auto* made = new World;
    const char* features = std::getenv("TAUTLINE_TEST_RUNTIME");
    std::istringstream in(features ? features : "");
    for (std::string word; in >> word;) made->features.insert(word);
    made->head.pose.position = {0, 1.6f, 0};
    return made;
  }();
  return *w;
}

XrTime now() { return monotonic() + kEpoch; }
bool enabled(const char* extension) { return world().extensions.count(extension) > 0; }
bool has(const char* feature) { return world().features.count(feature) > 0; }

XrResult complain(XrResult result, const std::string& text) {
  const Lock lock(world().mutex);
  world().complaints.push_back(text);
  return result;
}

bool well_formed(const void* structure, XrStructureType type, const Types& chain,
                 const char* function) {
  const auto* head = static_cast<const XrBaseInStructure*>(structure);
  if (head == nullptr || head->type != type) {
    complain(XR_SUCCESS, std::string(function) + ": no structure of type " + std::to_string(type));
    return false;
  }
  for (const auto* each = head->next; each != nullptr; each = each->next) {
    bool known = false;
    for (const XrStructureType allowed : chain) known = known || each->type == allowed;
    if (known) continue;
    complain(XR_SUCCESS, std::string(function) + ": unknown structure " + std::to_string(each->type));
    return false;
  }
  return true;
}

Session* find_session(XrSession handle, const char* function) {
  const auto found = world().sessions.find(handle);
  if (found != world().sessions.end()) return &found->second;
  complain(XR_SUCCESS, std::string(function) + ": unknown session");
  return nullptr;
}

std::string path_text(XrPath path) {
  const auto& all = world().paths;
  return path == 0 || path > all.size() ? std::string() : all[path - 1];
}

XrPath path_for(const std::string& text) {
  auto& all = world().paths;
  for (std::size_t i = 0; i < all.size(); i++) {
    if (all[i] == text) return i + 1;
  }
  all.push_back(text);
  return all.size();
}

int hand_of_text(const std::string& path) {
  if (path.rfind("/user/hand/left", 0) == 0) return 0;
  return path.rfind("/user/hand/right", 0) == 0 ? 1 : -1;
}
int hand_of(XrPath path) { return hand_of_text(path_text(path)); }

void push_state(XrSession handle, Session& session, XrSessionState state) {
  session.state = state;
  XrEventDataBuffer buffer{XR_TYPE_EVENT_DATA_BUFFER, nullptr, {}};
  auto* event = reinterpret_cast<XrEventDataSessionStateChanged*>(&buffer);
  *event = {XR_TYPE_EVENT_DATA_SESSION_STATE_CHANGED, nullptr, handle, state, now()};
  world().events.push_back(buffer);
}

void push_profile_changed(XrSession handle) {
  XrEventDataBuffer buffer{XR_TYPE_EVENT_DATA_BUFFER, nullptr, {}};
  auto* event = reinterpret_cast<XrEventDataInteractionProfileChanged*>(&buffer);
  *event = {XR_TYPE_EVENT_DATA_INTERACTION_PROFILE_CHANGED, nullptr, handle};
  world().events.push_back(buffer);
}

namespace {

void read_motion(std::istringstream& in, Motion& motion) {
  XrPosef& pose = motion.pose;
  in >> pose.position.x >> pose.position.y >> pose.position.z >> pose.orientation.x >> pose.orientation.y >>
      pose.orientation.z >> pose.orientation.w;
  if (!(in >> motion.linear.x >> motion.linear.y >> motion.linear.z >> motion.angular.x >> motion.angular.y >>
        motion.angular.z)) {
    motion.linear = motion.angular = {};
  }
}

int read_hand(std::istringstream& in) {
  std::string word;
  in >> word;
  return word == "left" ? 0 : 1;
}

/// @return what to say, or nothing for "ok"
std::string obey(const std::string& line) {
  World& w = world();
  std::istringstream in(line);
  std::string verb, word;
  in >> verb;
  if (verb == "controller") {  // HAND PROFILE|off
    Controller& controller = w.controllers[read_hand(in)];
    in >> word;
    controller.on = word != "off";
    controller.profile = controller.on ? word : "";
  } else if (verb == "grip") {  // HAND pose [velocity]
    read_motion(in, w.controllers[read_hand(in)].grip);
  } else if (verb == "track") {  // HAND tracked|inferred|lost
    Controller& controller = w.controllers[read_hand(in)];
    in >> word;
    controller.tracked = word == "tracked";
    controller.located = word != "lost";
  } else if (verb == "camera") {  // HAND off | HAND pose [velocity]
    Camera& camera = w.cameras[read_hand(in)];
    const auto at = in.tellg();
    in >> word;
    camera.on = word != "off";
    if (!camera.on) return {};
    in.seekg(at);
    read_motion(in, camera.wrist);
  } else if (verb == "set") {  // PATH VALUE
    float value = 0;
    in >> word >> value;
    w.values[word] = value;
  } else if (verb == "focus") {  // on|off
    in >> word;
    for (auto& [handle, session] : w.sessions) {
      if (session.focused == (word == "on")) continue;
      session.focused = word == "on";
      push_state(handle, session, session.focused ? XR_SESSION_STATE_FOCUSED : XR_SESSION_STATE_VISIBLE);
    }
  } else if (verb == "complaints") {
    std::string all;
    for (const std::string& each : w.complaints) all += (all.empty() ? "" : "; ") + each;
    w.complaints.clear();
    return all.empty() ? "none" : all;
  } else if (verb == "haptics") {  // HAND
    const Haptic& haptic = w.haptics[read_hand(in)];
    return std::to_string(haptic.applied) + " " + std::to_string(haptic.stopped) + " " +
           std::to_string(haptic.amplitude);
  } else if (verb == "now") {
    return std::to_string(now());
  } else if (verb == "sets") {
    std::string all;
    for (const auto& [handle, set] : w.sets) all += set.name + ":" + std::to_string(set.priority) + " ";
    return all;
  } else if (verb == "suggested") {  // PROFILE
    in >> word;
    std::string all;
    for (const Binding& each : w.suggestions[word]) all += w.actions[each.action].name + "=" + each.path + " ";
    return all;
  } else if (verb == "extensions") {
    std::string all;
    for (const std::string& each : w.extensions) all += each + " ";
    return all;
  } else {
    return "unknown: " + line;
  }
  return {};
}

}  // namespace
}  // namespace test_runtime

#ifdef _WIN32
#define TAUTLINE_EXPORT extern "C" __declspec(dllexport)
#else
#define TAUTLINE_EXPORT extern "C" __attribute__((visibility("default")))
#endif

/// Does what a line says. @param reply at most `size` bytes with the final zero
TAUTLINE_EXPORT void test_runtime_command(const char* line, char* reply, std::size_t size) {
  const test_runtime::Lock lock(test_runtime::world().mutex);
  std::string text = test_runtime::obey(line);
  if (text.empty()) text = "ok";
  text.resize(std::min(text.size(), size - 1));
  std::memcpy(reply, text.c_str(), text.size() + 1);
}

struct RuntimeRequest {
  std::uint32_t structType, structVersion;
  std::size_t structSize;
  std::uint32_t runtimeInterfaceVersion;
  XrVersion runtimeApiVersion;
  PFN_xrGetInstanceProcAddr getInstanceProcAddr;
};

TAUTLINE_EXPORT XRAPI_ATTR XrResult XRAPI_CALL xrNegotiateLoaderRuntimeInterface(const void*,
                                                                                RuntimeRequest* request) {
  if (request->structType != 3 || request->structSize != sizeof *request) return XR_ERROR_INITIALIZATION_FAILED;
  request->runtimeInterfaceVersion = 1;
  request->runtimeApiVersion = XR_CURRENT_API_VERSION;
  request->getInstanceProcAddr = test_runtime::GetInstanceProcAddr;
  return XR_SUCCESS;
}
