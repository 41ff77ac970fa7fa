// XrTime against this machine's monotonic clock.
#ifdef _WIN32
#include <winsock2.h>
#include <windows.h>
#else
#include <ctime>
#endif

#include <cstdlib>

#include "layer.hpp"
#include "link.hpp"

#ifdef _WIN32
#define XR_USE_PLATFORM_WIN32
#include <unknwn.h>
#else
#define XR_USE_TIMESPEC
#endif
#include <openxr/openxr_platform.h>

namespace tautline::layer {

void update_time(Instance& instance, XrTime predicted_display_time, XrDuration period) {
  TimeBase& time = instance.time;
  if (time.exact) {
    XrTime now = 0;
#ifdef _WIN32
    LARGE_INTEGER counter;
    ::QueryPerformanceCounter(&counter);
    const std::int64_t local = monotonic_ns();
    const auto convert = reinterpret_cast<PFN_xrConvertWin32PerformanceCounterToTimeKHR>(instance.convert_time);
    const XrResult result = convert(instance.handle, &counter, &now);
#else
    const std::int64_t local = monotonic_ns();
    const timespec spec{static_cast<time_t>(local / 1'000'000'000), static_cast<long>(local % 1'000'000'000)};
    const auto convert = reinterpret_cast<PFN_xrConvertTimespecTimeToTimeKHR>(instance.convert_time);
    const XrResult result = convert(instance.handle, &spec, &now);
#endif
    if (XR_FAILED(result)) return;
    time.offset_ns.store(now - local, std::memory_order_relaxed);
    time.known.store(true, std::memory_order_release);
    return;
  }
  if (predicted_display_time <= 0) return;
  // A frame is waited for about one period before it is shown.
  const std::int64_t offset = predicted_display_time - period - monotonic_ns();
  const std::int64_t old = time.offset_ns.load(std::memory_order_relaxed);
  const bool close = time.known.load(std::memory_order_relaxed) && std::abs(offset - old) < 100'000'000;
  time.offset_ns.store(close ? old + (offset - old) / 32 : offset, std::memory_order_relaxed);
  time.known.store(true, std::memory_order_release);
}

std::int64_t local_ns(const Instance& instance, XrTime time) {
  if (!instance.time.known.load(std::memory_order_acquire)) return monotonic_ns();
  return time - instance.time.offset_ns.load(std::memory_order_relaxed);
}

XrTime xr_time(const Instance& instance, std::int64_t local_ns) {
  return local_ns + instance.time.offset_ns.load(std::memory_order_relaxed);
}

}  // namespace tautline::layer
