// A frame loop with the C++ client that obeys lines of its input and prints what changes: loop URL. Whatever comes is a
// command: `stop 0.3`, `members {...}`, `free`, `hang MS`, `how`, `refusal`, `why`. At the end it prints the longest poll, in µs.
#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <deque>
#include <iostream>
#include <mutex>
#include <string>
#include <thread>

#include "tautline_loop.hpp"

static std::mutex mutex;
static std::deque<std::string> lines;

int main(int, char** argv) {
  std::setvbuf(stdout, nullptr, _IONBF, 0);
  std::thread([] {
    for (std::string line; std::getline(std::cin, line);) {
      const std::lock_guard<std::mutex> lock(mutex);
      lines.push_back(line);
    }
    const std::lock_guard<std::mutex> lock(mutex);
    lines.push_back("end");
  }).detach();

  using Clock = std::chrono::steady_clock;
  tautline::Loop glove("loop", argv[1]);
  std::string connection, held;
  const char* states[] = {"none", "asking", "held", "paused", "refused"};
  int hold = -1;
  long long longest = 0;
  std::uint64_t seen = 0;
  int printed = 0;
  for (;;) {
    const Clock::time_point began = Clock::now();
    glove.poll();
    const long long us = std::chrono::duration_cast<std::chrono::microseconds>(Clock::now() - began).count();
    if (us > longest) longest = us;
    std::string now = glove.state() == tautline::Loop::State::kOpen ? "open" : glove.state() == tautline::Loop::State::kWaiting ? "waiting " + glove.reason() : "connecting";
    if (now != connection) std::puts((connection = now).c_str());
    now = hold < 0 ? "" : std::string("hold ") + states[static_cast<int>(glove.hold_state(hold))];
    if (now != held) std::puts((held = now).c_str());
    const auto& right = glove.hand(1);
    if (printed < 40 && right.poses > seen && right.pose.valid) {
      seen = right.poses;
      printed++;
      const float* at = right.pose.joints[10].position;
      std::printf("pose %.0f %.5f %.5f %.5f\n", right.pose.time_us, static_cast<double>(at[0]), static_cast<double>(at[1]), static_cast<double>(at[2]));
    }
    std::string line;
    {
      const std::lock_guard<std::mutex> lock(mutex);
      if (!lines.empty()) {
        line = lines.front();
        lines.pop_front();
      }
    }
    if (line == "end") break;
    if (line.rfind("stop ", 0) == 0) {
      const std::string members = "\"fingers\":{\"index\":{\"stopAt\":" + line.substr(5) + ",\"effort\":1}}";
      if (hold < 0) hold = glove.hold(1, "resist", members);
      else glove.move(hold, members);
    }
    if (line.rfind("touch ", 0) == 0) hold = glove.hold(1, "touch", line.substr(6));
    if (line == "free") {
      glove.release(hold);
      hold = -1;
    }
    if (line.rfind("hang ", 0) == 0) std::this_thread::sleep_for(std::chrono::milliseconds(std::atoi(line.c_str() + 5)));
    if (line == "how") std::printf("To arm: %s\n", right.how_to_arm.c_str());
    if (line == "refusal") std::puts(glove.refusal().c_str());
    if (line == "why") std::printf("%s %s %s\n", glove.hold_error(hold).code.c_str(), glove.hold_error(hold).path.c_str(), glove.hold_error(hold).message.c_str());
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  std::printf("longest %lld\n", longest);
}
