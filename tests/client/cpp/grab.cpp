// An app with a ball that the hand can take, for tests/end-to-end/clients-grab.test.ts: prints what happens to it.
// Arguments: URL [moving]. See tests/client/javascript/grab.mjs. Counts what a frame allocates, and prints it at the end.
#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <iostream>
#include <new>
#include <string>
#include <thread>

#include "tautline_grab.hpp"

static thread_local long long allocated = 0;
void* operator new(std::size_t size) {
  allocated++;
  void* found = std::malloc(size);
  if (found == nullptr) std::abort();
  return found;
}
void operator delete(void* gone) noexcept { std::free(gone); }
void operator delete(void* gone, std::size_t) noexcept { std::free(gone); }

int main(int argc, char** argv) {
  std::setvbuf(stdout, nullptr, _IONBF, 0);
  std::atomic<bool> over{false};
  std::thread([&over] {
    std::string line;
    while (std::getline(std::cin, line)) {
    }
    over = true;
  }).detach();
  tautline::Loop glove("grab", argv[1]);
  tautline::Grab grab(glove, 1, tautline::Shape::sphere(0.035f));
  if (argc > 2) grab.set_velocity({0.25f, 0, -1}, {0, 3, 0.5f});
  tautline::RigidPose ball;
  bool placed = false;
  int state = -1;
  const char* states[] = {"away", "near", "held"};
  long long quiet = 0, noisy = 0, frames = 0;
  while (!over) {
    const long long before = allocated;
    glove.poll();
    const tautline::link::JointsRecord& hand = glove.hand(1).pose;
    if (!placed && glove.hand(1).poses > 0 && hand.valid) {
      placed = true;
      const float *p = hand.joints[0].position, *q = hand.joints[0].orientation;
      const tautline::RigidPose palm{{p[0], p[1], p[2]}, {q[0], q[1], q[2], q[3]}};
      ball.position = (palm * tautline::RigidPose{{0, -0.055f, -0.03f}, {}}).position;
    }
    const tautline::GrabEvent event = grab.update(ball);
    if (frames == 400) std::puts("warm");
    if (frames++ > 200) (allocated == before ? quiet : noisy)++;
    const tautline::Vec3 shown = event == tautline::GrabEvent::kLetGo ? grab.velocity() : ball.position;
    if (event != tautline::GrabEvent::kNone) {
      std::printf("%s %.4f %.4f %.4f\n", event == tautline::GrabEvent::kGrabbed ? "grabbed" : "letGo",
                  static_cast<double>(shown.x), static_cast<double>(shown.y), static_cast<double>(shown.z));
    }
    if (static_cast<int>(grab.state()) != state) std::puts(states[state = static_cast<int>(grab.state())]);
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  }
  std::printf("allocating %lld of %lld\n", noisy, quiet + noisy);
}
