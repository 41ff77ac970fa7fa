// What loader and layer say to each other, from the OpenXR loader's specification ("Loader/API layer interface"): the
// packaged headers do not bring it. The function's name and the layout are the standard's.
#ifndef TAUTLINE_OPENXR_NEGOTIATION_H
#define TAUTLINE_OPENXR_NEGOTIATION_H

#include <cstddef>
#include <cstdint>

#include <openxr/openxr.h>

namespace tautline::layer {

enum LoaderStruct : std::uint32_t {
  kLoaderInfo = 1,
  kLayerRequest = 2,
  kLayerCreateInfo = 4,
  kLayerNextInfo = 5,
};
constexpr std::uint32_t kStructVersion = 1;
constexpr std::uint32_t kInterfaceVersion = 1;
constexpr std::size_t kSettingsPathBytes = 512;

struct NegotiateLoaderInfo {
  std::uint32_t structType, structVersion;
  std::size_t structSize;
  std::uint32_t minInterfaceVersion, maxInterfaceVersion;
  XrVersion minApiVersion, maxApiVersion;
};

struct LayerCreateInfo;
using CreateLayerInstance = XrResult(XRAPI_PTR*)(const XrInstanceCreateInfo*, const LayerCreateInfo*, XrInstance*);

struct NegotiateLayerRequest {
  std::uint32_t structType, structVersion;
  std::size_t structSize;
  std::uint32_t layerInterfaceVersion;
  XrVersion layerApiVersion;
  PFN_xrGetInstanceProcAddr getInstanceProcAddr;
  CreateLayerInstance createApiLayerInstance;
};

struct LayerNextInfo {
  std::uint32_t structType, structVersion;
  std::size_t structSize;
  char layerName[XR_MAX_API_LAYER_NAME_SIZE];
  PFN_xrGetInstanceProcAddr nextGetInstanceProcAddr;
  CreateLayerInstance nextCreateApiLayerInstance;
  LayerNextInfo* next;
};

struct LayerCreateInfo {
  std::uint32_t structType, structVersion;
  std::size_t structSize;
  void* loaderInstance;
  char settingsFileLocation[kSettingsPathBytes];
  LayerNextInfo* nextInfo;
};

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_NEGOTIATION_H
