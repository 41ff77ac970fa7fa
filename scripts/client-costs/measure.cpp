// As measure.mjs, with the C++ client for frame loops. Counts what its thread allocates.
#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <iostream>
#include <mutex>
#include <new>
#include <string>
#include <thread>

#include "tautline_grab.hpp"

static thread_local long long allocated = 0;
void* operator new(std::size_t size) {
  allocated += static_cast<long long>(size);
  void* found = std::malloc(size);
  if (found == nullptr) std::abort();
  return found;
}
void operator delete(void* gone) noexcept { std::free(gone); }
void operator delete(void* gone, std::size_t) noexcept { std::free(gone); }

static std::mutex mutex;
static std::string line;

int main(int, char** argv) {
  std::setvbuf(stdout, nullptr, _IONBF, 0);
  std::thread([] {
    for (std::string one; std::getline(std::cin, one);) {
      const std::lock_guard<std::mutex> lock(mutex);
      line = one;
    }
  }).detach();
  using Clock = std::chrono::steady_clock;
  const int rate = std::atoi(argv[2]);
  tautline::LoopOptions options;
  options.rate_hz = rate;
  tautline::Loop glove("measured", argv[1], {}, options);
  tautline::Grab grab(glove, 1, tautline::Shape::sphere(0.035f));
  tautline::RigidPose ball{{0, -0.056f, -0.086f}, {}};
  bool valid = false;
  long frames = 0, frames_before = 0;
  unsigned long long poses_before = 0;
  long long allocated_before = 0;
  std::clock_t cpu = 0;
  Clock::time_point next = Clock::now(), began = next;
  float sum = 0;
  for (;;) {
    frames++;
    glove.poll();
    grab.update(ball);
    const auto& right = glove.hand(1);
    sum += right.pose.joints[10].position[0];
    if (right.pose.valid != valid) std::puts((valid = !valid) ? "valid" : "lost");
    std::string told;
    {
      const std::lock_guard<std::mutex> lock(mutex);
      told.swap(line);
    }
    if (told == "end") return 0;
    if (told == "begin") {
      frames_before = frames, poses_before = right.poses, allocated_before = allocated, cpu = std::clock(), began = Clock::now();
    }
    if (told == "report") {
      std::printf("{\"cpuS\":%.4f,\"wallS\":%.4f,\"frames\":%ld,\"poses\":%llu,\"allocatedBytes\":%lld}%s\n",
                  static_cast<double>(std::clock() - cpu) / CLOCKS_PER_SEC,
                  std::chrono::duration<double>(Clock::now() - began).count(), frames - frames_before,
                  right.poses - poses_before, allocated - allocated_before, sum > 1e30f ? " " : "");
    }
    next += std::chrono::microseconds(1000000 / rate);
    std::this_thread::sleep_until(next);
  }
}
