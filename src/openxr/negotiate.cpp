// The one function that the library exports: the loader asks it who we are.
#include "layer.hpp"
#include "negotiation.h"

namespace {
using namespace tautline::layer;
}

#ifdef _WIN32
#define TAUTLINE_EXPORT extern "C" __declspec(dllexport)
#else
#define TAUTLINE_EXPORT extern "C" __attribute__((visibility("default")))
#endif

TAUTLINE_EXPORT XRAPI_ATTR XrResult XRAPI_CALL xrNegotiateLoaderApiLayerInterface(const NegotiateLoaderInfo* loader,
                                                                                 const char* /*layer_name*/,
                                                                                 NegotiateLayerRequest* request) {
  if (loader == nullptr || loader->structType != kLoaderInfo || loader->structVersion != kStructVersion ||
      loader->structSize != sizeof *loader || loader->minInterfaceVersion > kInterfaceVersion ||
      loader->maxInterfaceVersion < kInterfaceVersion) {
    return XR_ERROR_INITIALIZATION_FAILED;
  }
  if (request == nullptr || request->structType != kLayerRequest || request->structVersion != kStructVersion ||
      request->structSize != sizeof *request) {
    return XR_ERROR_INITIALIZATION_FAILED;
  }
  request->layerInterfaceVersion = kInterfaceVersion;
  request->layerApiVersion = XR_MAKE_VERSION(1, 0, 0);
  request->getInstanceProcAddr = get_instance_proc_addr;
  request->createApiLayerInstance = create_instance;
  return XR_SUCCESS;
}
