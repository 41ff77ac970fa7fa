// Creation, the table of functions, and what the layer brings along: extensions and system properties.
#ifdef _WIN32
#include <winsock2.h>
#include <windows.h>
#else
#include <ctime>
#endif

#include <algorithm>
#include <cstring>
#include <new>

#include "layer.hpp"
#include "link.hpp"
#include "negotiation.h"

#ifdef _WIN32
#define XR_USE_PLATFORM_WIN32
#include <unknwn.h>
#else
#define XR_USE_TIMESPEC
#endif
#include <openxr/openxr_platform.h>

namespace tautline::layer {
namespace {

#ifdef _WIN32
constexpr char kTimeExtension[] = XR_KHR_WIN32_CONVERT_PERFORMANCE_COUNTER_TIME_EXTENSION_NAME;
constexpr char kToTime[] = "xrConvertWin32PerformanceCounterToTimeKHR";
constexpr char kFromTime[] = "xrConvertTimeToWin32PerformanceCounterKHR";
#else
constexpr char kTimeExtension[] = XR_KHR_CONVERT_TIMESPEC_TIME_EXTENSION_NAME;
constexpr char kToTime[] = "xrConvertTimespecTimeToTimeKHR";
constexpr char kFromTime[] = "xrConvertTimeToTimespecTimeKHR";
#endif

struct Brought {
  const char* name;
  std::uint32_t version;
  Extension Instance::*extension;
};
/// What the manifest lists, too.
constexpr Brought kBrought[] = {
    {XR_EXT_HAND_TRACKING_EXTENSION_NAME, XR_EXT_hand_tracking_SPEC_VERSION, &Instance::hand_tracking},
    {XR_EXT_HAND_JOINTS_MOTION_RANGE_EXTENSION_NAME, XR_EXT_hand_joints_motion_range_SPEC_VERSION,
     &Instance::motion_range},
    {kDataSource, kDataSourceVersion, &Instance::data_source},
    {kHandInteraction, kHandInteractionVersion, &Instance::hand_interaction},
};

bool is_in(const std::vector<XrExtensionProperties>& list, const char* name) {
  return std::any_of(list.begin(), list.end(),
                     [&](const XrExtensionProperties& each) { return std::strcmp(each.extensionName, name) == 0; });
}

/// What the runtime itself has. The last in the chain is asked: the layers between would want an instance first.
std::vector<XrExtensionProperties> runtime_extensions(const LayerCreateInfo& layer) {
  const LayerNextInfo* last = layer.nextInfo;
  while (last->next != nullptr) last = last->next;
  PFN_xrVoidFunction function = nullptr;
  std::vector<XrExtensionProperties> list;
  if (last->nextGetInstanceProcAddr == nullptr ||
      XR_FAILED(last->nextGetInstanceProcAddr(XR_NULL_HANDLE, "xrEnumerateInstanceExtensionProperties", &function)) ||
      function == nullptr) {
    return list;
  }
  const auto enumerate = reinterpret_cast<PFN_xrEnumerateInstanceExtensionProperties>(function);
  std::uint32_t count = 0;
  if (XR_FAILED(enumerate(nullptr, 0, &count, nullptr))) return list;
  XrExtensionProperties empty{};
  empty.type = XR_TYPE_EXTENSION_PROPERTIES;
  list.assign(count, empty);
  if (XR_FAILED(enumerate(nullptr, count, &count, list.data()))) list.clear();
  list.resize(std::min<std::size_t>(count, list.size()));
  return list;
}

/// A function of what lies below, or null.
template <typename Function>
void look_up(const Instance& instance, const char* name, Function& function) {
  PFN_xrVoidFunction found = nullptr;
  const XrResult result = instance.next.GetInstanceProcAddr(instance.handle, name, &found);
  function = XR_SUCCEEDED(result) ? reinterpret_cast<Function>(found) : nullptr;
}

bool fill_next(Instance& instance) {
  Next& next = instance.next;
  bool complete = true;
#define TAUTLINE_LOOK_UP(name)              \
  look_up(instance, "xr" #name, next.name); \
  complete = complete && next.name != nullptr;
  TAUTLINE_CORE(TAUTLINE_LOOK_UP)
#undef TAUTLINE_LOOK_UP
  if (instance.hand_tracking.below) {
    look_up(instance, "xrCreateHandTrackerEXT", next.CreateHandTrackerEXT);
    look_up(instance, "xrDestroyHandTrackerEXT", next.DestroyHandTrackerEXT);
    look_up(instance, "xrLocateHandJointsEXT", next.LocateHandJointsEXT);
  }
  return complete;
}

void name_runtime(const Instance& instance, Application& application) {
  PFN_xrGetInstanceProperties get = nullptr;
  look_up(instance, "xrGetInstanceProperties", get);
  XrInstanceProperties properties{};
  properties.type = XR_TYPE_INSTANCE_PROPERTIES;
  if (get == nullptr || XR_FAILED(get(instance.handle, &properties))) return;
  const XrVersion version = properties.runtimeVersion;
  application.runtime.assign(properties.runtimeName, strnlen(properties.runtimeName, XR_MAX_RUNTIME_NAME_SIZE));
  application.runtime_version = std::to_string(XR_VERSION_MAJOR(version)) + "." +
                                std::to_string(XR_VERSION_MINOR(version)) + "." +
                                std::to_string(XR_VERSION_PATCH(version));
}

XrPath path_of(const Instance& instance, const char* text) {
  XrPath path = XR_NULL_PATH;
  instance.next.StringToPath(instance.handle, text, &path);
  return path;
}

struct Named {
  const char* name;
  PFN_xrVoidFunction function;
};
#define TAUTLINE_NAMED(name) {"xr" #name, reinterpret_cast<PFN_xrVoidFunction>(name)}
const Named kCoreFunctions[] = {
    TAUTLINE_NAMED(DestroyInstance),
    TAUTLINE_NAMED(GetSystemProperties),
    TAUTLINE_NAMED(CreateSession),
    TAUTLINE_NAMED(DestroySession),
    TAUTLINE_NAMED(BeginSession),
    TAUTLINE_NAMED(EndSession),
    TAUTLINE_NAMED(PollEvent),
    TAUTLINE_NAMED(WaitFrame),
    TAUTLINE_NAMED(CreateActionSet),
    TAUTLINE_NAMED(DestroyActionSet),
    TAUTLINE_NAMED(CreateAction),
    TAUTLINE_NAMED(DestroyAction),
    TAUTLINE_NAMED(SuggestInteractionProfileBindings),
    TAUTLINE_NAMED(AttachSessionActionSets),
    TAUTLINE_NAMED(GetCurrentInteractionProfile),
    TAUTLINE_NAMED(SyncActions),
    TAUTLINE_NAMED(GetActionStateBoolean),
    TAUTLINE_NAMED(GetActionStateFloat),
    TAUTLINE_NAMED(GetActionStateVector2f),
    TAUTLINE_NAMED(GetActionStatePose),
    TAUTLINE_NAMED(EnumerateBoundSourcesForAction),
    TAUTLINE_NAMED(GetInputSourceLocalizedName),
    TAUTLINE_NAMED(CreateActionSpace),
    TAUTLINE_NAMED(DestroySpace),
    TAUTLINE_NAMED(LocateSpace),
    TAUTLINE_NAMED(ApplyHapticFeedback),
    TAUTLINE_NAMED(StopHapticFeedback),
};
const Named kHandFunctions[] = {
    TAUTLINE_NAMED(CreateHandTrackerEXT),
    TAUTLINE_NAMED(DestroyHandTrackerEXT),
    TAUTLINE_NAMED(LocateHandJointsEXT),
};

}  // namespace

Objects& objects() {
  // Never destroyed: functions may be called while the program ends. In the library's own memory, which goes with it.
  alignas(Objects) static unsigned char memory[sizeof(Objects)];
  static Objects* const all = new (memory) Objects;
  return *all;
}

XrResult create_instance(const XrInstanceCreateInfo* info, const LayerCreateInfo* layer, XrInstance* instance) {
  if (info == nullptr || layer == nullptr || instance == nullptr || layer->structType != kLayerCreateInfo ||
      layer->nextInfo == nullptr || layer->nextInfo->structType != kLayerNextInfo ||
      layer->nextInfo->nextGetInstanceProcAddr == nullptr || layer->nextInfo->nextCreateApiLayerInstance == nullptr) {
    return XR_ERROR_INITIALIZATION_FAILED;
  }
  return guarded([&] {
    LayerCreateInfo below = *layer;
    below.nextInfo = layer->nextInfo->next;
    if (info->type != XR_TYPE_INSTANCE_CREATE_INFO ||
        (info->enabledExtensionCount > 0 && info->enabledExtensionNames == nullptr)) {
      return layer->nextInfo->nextCreateApiLayerInstance(info, &below, instance);
    }
    auto made = std::make_shared<Instance>();
    const auto has = runtime_extensions(*layer);
    std::vector<const char*> names;
    bool asked_time = false;
    for (std::uint32_t i = 0; i < info->enabledExtensionCount; i++) {
      const char* name = info->enabledExtensionNames[i];
      bool pass = true;
      for (const Brought& each : kBrought) {
        if (name == nullptr || std::strcmp(name, each.name) != 0) continue;
        Extension& extension = (*made).*each.extension;
        extension.asked = true;
        extension.below = pass = is_in(has, name);
      }
      asked_time = asked_time || (name != nullptr && std::strcmp(name, kTimeExtension) == 0);
      if (pass) names.push_back(name);
    }
    const bool has_time = is_in(has, kTimeExtension);
    if (has_time && !asked_time) {
      names.push_back(kTimeExtension);
      made->hidden = {kToTime, kFromTime};
    }
    XrInstanceCreateInfo ours = *info;
    ours.enabledExtensionCount = static_cast<std::uint32_t>(names.size());
    ours.enabledExtensionNames = names.data();
    const XrResult result = layer->nextInfo->nextCreateApiLayerInstance(&ours, &below, instance);
    if (XR_FAILED(result)) return result;
    made->handle = *instance;
    made->next.GetInstanceProcAddr = layer->nextInfo->nextGetInstanceProcAddr;
    if (!fill_next(*made)) {
      if (made->next.DestroyInstance != nullptr) made->next.DestroyInstance(*instance);
      *instance = XR_NULL_HANDLE;
      return XR_ERROR_INITIALIZATION_FAILED;
    }
    if (has_time || asked_time) look_up(*made, kToTime, made->convert_time);
    made->time.exact = made->convert_time != nullptr;
    if (XR_VERSION_MAJOR(info->applicationInfo.apiVersion) > 1 ||
        XR_VERSION_MINOR(info->applicationInfo.apiVersion) >= 1) {
      look_up(*made, "xrLocateSpaces", made->next.LocateSpacesAny);
    }
    for (const char* name : names) {
      if (name != nullptr && std::strcmp(name, "XR_KHR_locate_spaces") == 0) {
        look_up(*made, "xrLocateSpacesKHR", made->next.LocateSpacesAny);
      }
    }
    made->hands[kLeft] = path_of(*made, "/user/hand/left");
    made->hands[kRight] = path_of(*made, "/user/hand/right");
    made->hand_interaction_profile = path_of(*made, kHandInteractionProfile);
    made->simple_profile = path_of(*made, "/interaction_profiles/khr/simple_controller");
    objects().instances.add(*instance, made);
    const char* name = info->applicationInfo.applicationName;
    Application application{std::string(name, strnlen(name, XR_MAX_APPLICATION_NAME_SIZE)), {}, {}};
    name_runtime(*made, application);
    Link::get().acquire(application);
    return result;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL DestroyInstance(XrInstance handle) {
  return guarded([&] {
    const auto instance = objects().instances.find(handle);
    if (!instance) return XR_ERROR_HANDLE_INVALID;
    const auto is_ours = [&](const Session& session) { return session.instance == instance; };
    // The runtime destroys what belongs to an instance; so do we, and first, as it may be asked for until then.
    for (const auto& session : objects().sessions.remove_if(is_ours)) {
      forget_trackers(*session);
      forget_spaces(*session);
    }
    {
      const std::lock_guard lock(instance->mutex);
      for (const auto& set : instance->sets) {
        for (const auto& action : set->actions) objects().actions.remove(action->handle);
        objects().sets.remove(set->handle);
        objects().instance_of_set.remove(set->handle);
      }
    }
    objects().instances.remove(handle);
    const XrResult result = instance->next.DestroyInstance(handle);
    Link::get().release();
    return result;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL get_instance_proc_addr(XrInstance handle, const char* name,
                                                      PFN_xrVoidFunction* function) {
  return guarded([&] {
    if (name == nullptr || function == nullptr) return XR_ERROR_VALIDATION_FAILURE;
    *function = nullptr;
    if (std::strcmp(name, "xrGetInstanceProcAddr") == 0) {
      *function = reinterpret_cast<PFN_xrVoidFunction>(get_instance_proc_addr);
      return XR_SUCCESS;
    }
    const auto instance = objects().instances.find(handle);
    if (!instance) return XR_ERROR_HANDLE_INVALID;
    for (const std::string_view each : instance->hidden) {
      if (each == name) return XR_ERROR_FUNCTION_UNSUPPORTED;
    }
    for (const Named& each : kCoreFunctions) {
      if (std::strcmp(name, each.name) != 0) continue;
      *function = each.function;
      return XR_SUCCESS;
    }
    for (const Named& each : kHandFunctions) {
      if (std::strcmp(name, each.name) != 0) continue;
      if (!instance->hand_tracking.asked) return XR_ERROR_FUNCTION_UNSUPPORTED;
      *function = each.function;
      return XR_SUCCESS;
    }
    const bool locates = std::strcmp(name, "xrLocateSpaces") == 0 || std::strcmp(name, "xrLocateSpacesKHR") == 0;
    const XrResult result = instance->next.GetInstanceProcAddr(handle, name, function);
    if (locates && XR_SUCCEEDED(result) && instance->next.LocateSpacesAny != nullptr) {
      *function = reinterpret_cast<PFN_xrVoidFunction>(LocateSpacesAny);
    }
    return result;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL GetSystemProperties(XrInstance handle, XrSystemId system,
                                                   XrSystemProperties* properties) {
  return guarded([&] {
    const auto instance = objects().instances.find(handle);
    if (!instance) return XR_ERROR_HANDLE_INVALID;
    const Extension& extension = instance->hand_tracking;
    if (!extension.asked || properties == nullptr || properties->type != XR_TYPE_SYSTEM_PROPERTIES) {
      return instance->next.GetSystemProperties(handle, system, properties);
    }
    auto* asked = find_in_chain<XrSystemHandTrackingPropertiesEXT>(properties->next,
                                                                   XR_TYPE_SYSTEM_HAND_TRACKING_PROPERTIES_EXT);
    XrResult result;
    if (extension.below || asked == nullptr) {
      result = instance->next.GetSystemProperties(handle, system, properties);
    } else {
      const Unlinked without(properties, XR_TYPE_SYSTEM_HAND_TRACKING_PROPERTIES_EXT);
      result = instance->next.GetSystemProperties(handle, system, properties);
    }
    if (XR_FAILED(result) || asked == nullptr) return result;
    const bool by_runtime = extension.below && asked->supportsHandTracking == XR_TRUE;
    const bool supported = by_runtime || Link::get().has_service();
    asked->supportsHandTracking = supported ? XR_TRUE : XR_FALSE;
    // What was promised stays so.
    if (instance->tracks_hands.load() != 1) instance->tracks_hands.store(supported ? 1 : 0);
    return result;
  });
}

}  // namespace tautline::layer
