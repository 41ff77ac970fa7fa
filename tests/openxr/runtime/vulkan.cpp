// What an application that draws needs of a runtime: views, and swapchains in the application's own Vulkan device. The
// pictures are seen by nobody.
#include <dlfcn.h>

#include <cstring>

#include <vulkan/vulkan.h>

#include "runtime.hpp"

#define XR_USE_GRAPHICS_API_VULKAN
#include <openxr/openxr_platform.h>

namespace test_runtime {
namespace {

constexpr std::uint32_t kSize = 64;
constexpr std::uint32_t kImages = 3;

struct Swapchain {
  std::vector<VkImage> images;
  std::vector<VkDeviceMemory> memory;
  std::uint32_t next = 0;
  bool acquired = false, waited = false;
};

XrGraphicsBindingVulkanKHR binding{};
std::map<XrSwapchain, Swapchain> swapchains;

template <typename Function>
Function vk(const char* name) {
  static void* const library = ::dlopen("libvulkan.so.1", RTLD_NOW | RTLD_LOCAL);
  return reinterpret_cast<Function>(::dlsym(library, name));
}
#define VK(name) vk<PFN_##name>(#name)

template <typename T>
XrResult give(std::initializer_list<T> all, std::uint32_t capacity, std::uint32_t* count, T* out) {
  *count = static_cast<std::uint32_t>(all.size());
  if (capacity == 0) return XR_SUCCESS;
  if (capacity < *count) return XR_ERROR_SIZE_INSUFFICIENT;
  std::copy(all.begin(), all.end(), out);
  return XR_SUCCESS;
}

XrResult XRAPI_CALL GetVulkanGraphicsRequirementsKHR(XrInstance, XrSystemId,
                                                     XrGraphicsRequirementsVulkanKHR* requirements) {
  requirements->minApiVersionSupported = XR_MAKE_VERSION(1, 0, 0);
  requirements->maxApiVersionSupported = XR_MAKE_VERSION(1, 4, 0);
  return XR_SUCCESS;
}
XrResult no_names(std::uint32_t capacity, std::uint32_t* count, char* buffer) {
  *count = 1;
  if (capacity > 0) *buffer = '\0';
  return XR_SUCCESS;
}
XrResult XRAPI_CALL GetVulkanInstanceExtensionsKHR(XrInstance, XrSystemId, std::uint32_t capacity,
                                                   std::uint32_t* count, char* buffer) {
  return no_names(capacity, count, buffer);
}
XrResult XRAPI_CALL GetVulkanDeviceExtensionsKHR(XrInstance, XrSystemId, std::uint32_t capacity, std::uint32_t* count,
                                                 char* buffer) {
  return no_names(capacity, count, buffer);
}
XrResult XRAPI_CALL GetVulkanGraphicsDeviceKHR(XrInstance, XrSystemId, VkInstance instance, VkPhysicalDevice* device) {
  std::uint32_t count = 1;
  const VkResult result = VK(vkEnumeratePhysicalDevices)(instance, &count, device);
  return result == VK_SUCCESS || result == VK_INCOMPLETE ? XR_SUCCESS : XR_ERROR_RUNTIME_FAILURE;
}

XrResult XRAPI_CALL EnumerateViewConfigurations(XrInstance, XrSystemId, std::uint32_t capacity, std::uint32_t* count,
                                                XrViewConfigurationType* types) {
  return give({XR_VIEW_CONFIGURATION_TYPE_PRIMARY_STEREO}, capacity, count, types);
}
XrResult XRAPI_CALL GetViewConfigurationProperties(XrInstance, XrSystemId, XrViewConfigurationType type,
                                                   XrViewConfigurationProperties* properties) {
  properties->viewConfigurationType = type;
  properties->fovMutable = XR_FALSE;
  return XR_SUCCESS;
}
XrResult XRAPI_CALL EnumerateViewConfigurationViews(XrInstance, XrSystemId, XrViewConfigurationType,
                                                    std::uint32_t capacity, std::uint32_t* count,
                                                    XrViewConfigurationView* views) {
  const XrViewConfigurationView view{
      XR_TYPE_VIEW_CONFIGURATION_VIEW, nullptr, kSize, kSize, kSize, kSize, 1, 1};
  return give({view, view}, capacity, count, views);
}
XrResult XRAPI_CALL EnumerateEnvironmentBlendModes(XrInstance, XrSystemId, XrViewConfigurationType,
                                                   std::uint32_t capacity, std::uint32_t* count,
                                                   XrEnvironmentBlendMode* modes) {
  return give({XR_ENVIRONMENT_BLEND_MODE_OPAQUE}, capacity, count, modes);
}
XrResult XRAPI_CALL EnumerateReferenceSpaces(XrSession, std::uint32_t capacity, std::uint32_t* count,
                                             XrReferenceSpaceType* types) {
  return give({XR_REFERENCE_SPACE_TYPE_VIEW, XR_REFERENCE_SPACE_TYPE_LOCAL, XR_REFERENCE_SPACE_TYPE_STAGE}, capacity,
              count, types);
}
XrResult XRAPI_CALL EnumerateSwapchainFormats(XrSession, std::uint32_t capacity, std::uint32_t* count,
                                              std::int64_t* formats) {
  return give<std::int64_t>({VK_FORMAT_R8G8B8A8_SRGB, VK_FORMAT_R8G8B8A8_UNORM, VK_FORMAT_B8G8R8A8_SRGB}, capacity,
                            count, formats);
}

XrResult XRAPI_CALL CreateSwapchain(XrSession, const XrSwapchainCreateInfo* info, XrSwapchain* made) {
  World& w = world();
  const Lock lock(w.mutex);
  Swapchain swapchain;
  for (std::uint32_t i = 0; i < kImages; i++) {
    VkImageCreateInfo create{};
    create.sType = VK_STRUCTURE_TYPE_IMAGE_CREATE_INFO;
    create.imageType = VK_IMAGE_TYPE_2D;
    create.format = static_cast<VkFormat>(info->format);
    create.extent = {info->width, info->height, 1};
    create.mipLevels = 1;
    create.arrayLayers = info->arraySize;
    create.samples = VK_SAMPLE_COUNT_1_BIT;
    create.usage = VK_IMAGE_USAGE_COLOR_ATTACHMENT_BIT | VK_IMAGE_USAGE_SAMPLED_BIT;
    VkImage image;
    if (VK(vkCreateImage)(binding.device, &create, nullptr, &image) != VK_SUCCESS) return XR_ERROR_RUNTIME_FAILURE;
    VkMemoryRequirements needs;
    VK(vkGetImageMemoryRequirements)(binding.device, image, &needs);
    VkMemoryAllocateInfo allocate{VK_STRUCTURE_TYPE_MEMORY_ALLOCATE_INFO, nullptr, needs.size, 0};
    while ((needs.memoryTypeBits >> allocate.memoryTypeIndex & 1) == 0) allocate.memoryTypeIndex++;
    VkDeviceMemory memory;
    if (VK(vkAllocateMemory)(binding.device, &allocate, nullptr, &memory) != VK_SUCCESS) {
      return XR_ERROR_OUT_OF_MEMORY;
    }
    VK(vkBindImageMemory)(binding.device, image, memory, 0);
    swapchain.images.push_back(image);
    swapchain.memory.push_back(memory);
  }
  *made = reinterpret_cast<XrSwapchain>(std::uintptr_t(w.handles += 0x10));
  swapchains[*made] = swapchain;
  return XR_SUCCESS;
}
XrResult XRAPI_CALL DestroySwapchain(XrSwapchain handle) {
  const Lock lock(world().mutex);
  const auto found = swapchains.find(handle);
  if (found == swapchains.end()) return complain(XR_ERROR_HANDLE_INVALID, "xrDestroySwapchain");
  for (const VkImage image : found->second.images) VK(vkDestroyImage)(binding.device, image, nullptr);
  for (const VkDeviceMemory memory : found->second.memory) VK(vkFreeMemory)(binding.device, memory, nullptr);
  swapchains.erase(found);
  return XR_SUCCESS;
}
XrResult XRAPI_CALL EnumerateSwapchainImages(XrSwapchain handle, std::uint32_t capacity, std::uint32_t* count,
                                             XrSwapchainImageBaseHeader* images) {
  const Lock lock(world().mutex);
  const Swapchain& swapchain = swapchains[handle];
  *count = kImages;
  if (capacity == 0) return XR_SUCCESS;
  auto* out = reinterpret_cast<XrSwapchainImageVulkanKHR*>(images);
  for (std::uint32_t i = 0; i < kImages; i++) out[i].image = swapchain.images[i];
  return XR_SUCCESS;
}
XrResult XRAPI_CALL AcquireSwapchainImage(XrSwapchain handle, const XrSwapchainImageAcquireInfo*,
                                          std::uint32_t* index) {
  const Lock lock(world().mutex);
  Swapchain& swapchain = swapchains[handle];
  if (swapchain.acquired) return XR_ERROR_CALL_ORDER_INVALID;
  swapchain.acquired = true;
  *index = swapchain.next++ % kImages;
  return XR_SUCCESS;
}
XrResult XRAPI_CALL WaitSwapchainImage(XrSwapchain handle, const XrSwapchainImageWaitInfo*) {
  const Lock lock(world().mutex);
  Swapchain& swapchain = swapchains[handle];
  if (!swapchain.acquired || swapchain.waited) return XR_ERROR_CALL_ORDER_INVALID;
  swapchain.waited = true;
  return XR_SUCCESS;
}
XrResult XRAPI_CALL ReleaseSwapchainImage(XrSwapchain handle, const XrSwapchainImageReleaseInfo*) {
  const Lock lock(world().mutex);
  Swapchain& swapchain = swapchains[handle];
  if (!swapchain.waited) return XR_ERROR_CALL_ORDER_INVALID;
  swapchain.acquired = swapchain.waited = false;
  return XR_SUCCESS;
}

XrResult XRAPI_CALL LocateViews(XrSession, const XrViewLocateInfo*, XrViewState* state, std::uint32_t capacity,
                                std::uint32_t* count, XrView* views) {
  state->viewStateFlags = XR_VIEW_STATE_ORIENTATION_VALID_BIT | XR_VIEW_STATE_POSITION_VALID_BIT;
  *count = 2;
  for (std::uint32_t i = 0; i < capacity && i < 2; i++) {
    views[i].pose = {{0, 0, 0, 1}, {i ? 0.03f : -0.03f, 1.6f, 0}};
    views[i].fov = {-0.8f, 0.8f, 0.8f, -0.8f};
  }
  return XR_SUCCESS;
}

}  // namespace

bool take_graphics(const void* chain) {
  const auto* found = static_cast<const XrGraphicsBindingVulkanKHR*>(chain);
  if (found == nullptr || found->type != XR_TYPE_GRAPHICS_BINDING_VULKAN_KHR) return false;
  binding = *found;
  return true;
}

PFN_xrVoidFunction graphics_function(const std::string& name) {
  if (!enabled("XR_KHR_vulkan_enable")) return nullptr;
#define TAUTLINE_TEST_FUNCTION(function) \
  if (name == "xr" #function) return reinterpret_cast<PFN_xrVoidFunction>(function);
  TAUTLINE_TEST_FUNCTION(GetVulkanGraphicsRequirementsKHR)
  TAUTLINE_TEST_FUNCTION(GetVulkanInstanceExtensionsKHR)
  TAUTLINE_TEST_FUNCTION(GetVulkanDeviceExtensionsKHR)
  TAUTLINE_TEST_FUNCTION(GetVulkanGraphicsDeviceKHR)
  TAUTLINE_TEST_FUNCTION(EnumerateViewConfigurations)
  TAUTLINE_TEST_FUNCTION(GetViewConfigurationProperties)
  TAUTLINE_TEST_FUNCTION(EnumerateViewConfigurationViews)
  TAUTLINE_TEST_FUNCTION(EnumerateEnvironmentBlendModes)
  TAUTLINE_TEST_FUNCTION(EnumerateReferenceSpaces)
  TAUTLINE_TEST_FUNCTION(EnumerateSwapchainFormats)
  TAUTLINE_TEST_FUNCTION(CreateSwapchain)
  TAUTLINE_TEST_FUNCTION(DestroySwapchain)
  TAUTLINE_TEST_FUNCTION(EnumerateSwapchainImages)
  TAUTLINE_TEST_FUNCTION(AcquireSwapchainImage)
  TAUTLINE_TEST_FUNCTION(WaitSwapchainImage)
  TAUTLINE_TEST_FUNCTION(ReleaseSwapchainImage)
  TAUTLINE_TEST_FUNCTION(LocateViews)
#undef TAUTLINE_TEST_FUNCTION
  return nullptr;
}

}  // namespace test_runtime
