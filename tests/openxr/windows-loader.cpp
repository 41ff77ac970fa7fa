// The least of an OpenXR loader, and an application, for Windows: loads the layer's DLL and the test runtime's, chains
// them as the loader does, and looks whether a hand comes from the service. Run under Wine by `npm run test:windows`.
//   windows-loader LAYER.dll RUNTIME.dll URL
// Tells the layer of the service by the file in %LOCALAPPDATA%, as a service on Windows does.
#include <winsock2.h>
#include <windows.h>

#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>

#include "../../src/openxr/negotiation.h"

using namespace tautline::layer;

namespace {

struct RuntimeRequest {
  std::uint32_t structType, structVersion;
  std::size_t structSize;
  std::uint32_t runtimeInterfaceVersion;
  XrVersion runtimeApiVersion;
  PFN_xrGetInstanceProcAddr getInstanceProcAddr;
};

PFN_xrGetInstanceProcAddr runtime_get = nullptr;
PFN_xrGetInstanceProcAddr layer_get = nullptr;
XrInstance instance = XR_NULL_HANDLE;

[[noreturn]] void fail(const std::string& what, long code = 0) {
  std::printf("failed: %s (%ld)\n", what.c_str(), code);
  std::fflush(stdout);
  std::exit(1);
}

template <typename Function>
Function get(const char* name) {
  PFN_xrVoidFunction found = nullptr;
  const XrResult result = layer_get(instance, name, &found);
  if (XR_FAILED(result) || found == nullptr) fail(name, result);
  return reinterpret_cast<Function>(found);
}

void check(const char* what, XrResult result) {
  if (result != XR_SUCCESS) fail(what, result);
}

/// What ends the chain, in the loader's place.
XrResult XRAPI_CALL create_below(const XrInstanceCreateInfo* info, const LayerCreateInfo*, XrInstance* made) {
  PFN_xrVoidFunction create = nullptr;
  check("xrCreateInstance", runtime_get(XR_NULL_HANDLE, "xrCreateInstance", &create));
  return reinterpret_cast<PFN_xrCreateInstance>(create)(info, made);
}

template <typename Function>
Function exported(HMODULE library, const char* name) {
  const auto found = ::GetProcAddress(library, name);
  if (found == nullptr) fail(name, static_cast<long>(::GetLastError()));
  return reinterpret_cast<Function>(reinterpret_cast<void*>(found));
}

/// @param url empty: removes the file
void write_whereabouts(const std::string& url) {
  const char* local = std::getenv("LOCALAPPDATA");
  if (local == nullptr) fail("no LOCALAPPDATA");
  const std::string folder = std::string(local) + "\\Tautline";
  ::CreateDirectoryA(folder.c_str(), nullptr);
  const std::string path = folder + "\\stream.json";
  std::remove(path.c_str());
  if (url.empty()) return;
  std::FILE* file = std::fopen(path.c_str(), "wb");
  if (file == nullptr) fail("cannot write " + path);
  std::fprintf(file, "{\"url\":\"%s\",\"pid\":%lu}\n", url.c_str(), ::GetCurrentProcessId());
  std::fclose(file);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 4) fail("usage");
  write_whereabouts(argv[3]);
  const HMODULE layer = ::LoadLibraryA(argv[1]);
  const HMODULE runtime = ::LoadLibraryA(argv[2]);
  if (layer == nullptr || runtime == nullptr) fail("LoadLibrary", static_cast<long>(::GetLastError()));

  RuntimeRequest below{3, 1, sizeof below, 0, 0, nullptr};
  check("runtime", exported<XrResult(XRAPI_PTR*)(const void*, RuntimeRequest*)>(
                       runtime, "xrNegotiateLoaderRuntimeInterface")(nullptr, &below));
  runtime_get = below.getInstanceProcAddr;
  const auto tell = exported<void (*)(const char*, char*, std::size_t)>(runtime, "test_runtime_command");
  char said[4096];
  tell("controller right /interaction_profiles/khr/simple_controller", said, sizeof said);
  tell("grip right 0.25 1 0 0 0 0 1", said, sizeof said);

  NegotiateLoaderInfo info{kLoaderInfo, 1, sizeof info, 1, 1, XR_MAKE_VERSION(1, 0, 0), XR_MAKE_VERSION(1, 0x3ff, 0xfff)};
  NegotiateLayerRequest request{kLayerRequest, 1, sizeof request, 0, 0, nullptr, nullptr};
  using Negotiate = XrResult(XRAPI_PTR*)(const NegotiateLoaderInfo*, const char*, NegotiateLayerRequest*);
  const auto negotiate = exported<Negotiate>(layer, "xrNegotiateLoaderApiLayerInterface");
  check("negotiation", negotiate(&info, "XR_APILAYER_TAUTLINE_glove", &request));
  layer_get = request.getInstanceProcAddr;
  info.minInterfaceVersion = info.maxInterfaceVersion = 2;
  if (negotiate(&info, nullptr, &request) == XR_SUCCESS) fail("an interface of the future was taken");

  const char* extensions[] = {"XR_MND_headless", "XR_EXT_hand_tracking"};
  XrInstanceCreateInfo create{XR_TYPE_INSTANCE_CREATE_INFO, nullptr, 0, {}, 0, nullptr, 2, extensions};
  std::strcpy(create.applicationInfo.applicationName, "windows application");
  create.applicationInfo.apiVersion = XR_MAKE_VERSION(1, 0, 0);
  LayerNextInfo next{kLayerNextInfo, 1, sizeof next, "XR_APILAYER_TAUTLINE_glove", runtime_get, create_below, nullptr};
  LayerCreateInfo chain{kLayerCreateInfo, 1, sizeof chain, nullptr, "", &next};
  check("creation", request.createApiLayerInstance(&create, &chain, &instance));

  XrSessionCreateInfo session_info{XR_TYPE_SESSION_CREATE_INFO, nullptr, 0, 7};
  XrSession session;
  check("session", get<PFN_xrCreateSession>("xrCreateSession")(instance, &session_info, &session));
  XrSessionBeginInfo begin{XR_TYPE_SESSION_BEGIN_INFO, nullptr, XR_VIEW_CONFIGURATION_TYPE_PRIMARY_STEREO};
  check("begin", get<PFN_xrBeginSession>("xrBeginSession")(session, &begin));
  const auto poll = get<PFN_xrPollEvent>("xrPollEvent");
  XrEventDataBuffer event{XR_TYPE_EVENT_DATA_BUFFER, nullptr, {}};
  while (poll(instance, &event) == XR_SUCCESS) event = {XR_TYPE_EVENT_DATA_BUFFER, nullptr, {}};

  XrReferenceSpaceCreateInfo space_info{XR_TYPE_REFERENCE_SPACE_CREATE_INFO, nullptr, XR_REFERENCE_SPACE_TYPE_LOCAL,
                                        {{0, 0, 0, 1}, {0, 0, 0}}};
  XrSpace space;
  check("space", get<PFN_xrCreateReferenceSpace>("xrCreateReferenceSpace")(session, &space_info, &space));
  // The service's file is read while the instance is made: a tracker may be had at once.
  XrHandTrackerCreateInfoEXT tracker_info{XR_TYPE_HAND_TRACKER_CREATE_INFO_EXT, nullptr, XR_HAND_RIGHT_EXT,
                                          XR_HAND_JOINT_SET_DEFAULT_EXT};
  XrHandTrackerEXT tracker;
  check("tracker", get<PFN_xrCreateHandTrackerEXT>("xrCreateHandTrackerEXT")(session, &tracker_info, &tracker));

  const auto wait = get<PFN_xrWaitFrame>("xrWaitFrame");
  const auto locate = get<PFN_xrLocateHandJointsEXT>("xrLocateHandJointsEXT");
  XrHandJointLocationEXT joints[XR_HAND_JOINT_COUNT_EXT];
  XrHandJointLocationsEXT locations{XR_TYPE_HAND_JOINT_LOCATIONS_EXT, nullptr, XR_FALSE, XR_HAND_JOINT_COUNT_EXT, joints};
  for (int frame = 0; frame < 1000 && locations.isActive != XR_TRUE; frame++) {
    XrFrameState state{XR_TYPE_FRAME_STATE, nullptr, 0, 0, XR_FALSE};
    check("frame", wait(session, nullptr, &state));
    XrHandJointsLocateInfoEXT where{XR_TYPE_HAND_JOINTS_LOCATE_INFO_EXT, nullptr, space, state.predictedDisplayTime};
    check("locate", locate(tracker, &where, &locations));
    ::Sleep(10);
  }
  if (locations.isActive != XR_TRUE) fail("no hand came");
  const XrVector3f& palm = joints[XR_HAND_JOINT_PALM_EXT].pose.position;
  std::printf("hand %.3f %.3f %.3f radius %.4f\n", palm.x, palm.y, palm.z, joints[XR_HAND_JOINT_INDEX_TIP_EXT].radius);
  check("destroy", get<PFN_xrDestroyInstance>("xrDestroyInstance")(instance));
  tell("complaints", said, sizeof said);
  std::printf("complaints: %s\n", said);
  std::fflush(stdout);
  write_whereabouts("");
  ::FreeLibrary(layer);
  return 0;
}
