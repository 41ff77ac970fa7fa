// Holds what it is asked to, and prints what becomes of each: holder URL. Its input: `stop NAME CURL`, `wrong NAME`, `touch
// NAME`, `free NAME`, `end`. Its output, whenever something changes: NAME and state, code, path, message and limited as JSON. The
// programs in tests/client/javascript, csharp and python do the same.
#include <chrono>
#include <cstdio>
#include <deque>
#include <iostream>
#include <map>
#include <mutex>
#include <sstream>
#include <string>
#include <thread>

#include "tautline_loop.hpp"

static std::mutex mutex;
static std::deque<std::string> lines;

static std::string stop(const std::string& curl) { return R"("fingers":{"index":{"stopAt":)" + curl + R"(,"effort":1}})"; }

int main(int, char** argv) {
  std::setvbuf(stdout, nullptr, _IONBF, 0);
  std::thread([] {
    for (std::string line; std::getline(std::cin, line);) {
      const std::lock_guard<std::mutex> lock(mutex);
      lines.push_back(line);
    }
  }).detach();
  tautline::Loop glove("holder", argv[1]);
  std::map<std::string, int> holds;
  std::map<std::string, std::string> said;
  const char* states[] = {"released", "asking", "held", "paused", "refused"};
  const auto text = [](const std::string& one) { return one.empty() ? "null" : tautline::link::json::quote(one); };
  for (;; std::this_thread::sleep_for(std::chrono::milliseconds(2))) {
    glove.poll();
    for (const auto& [name, hold] : holds) {
      const tautline::Error& why = glove.hold_error(hold);
      const std::string now = name + " {\"state\":\"" + states[static_cast<int>(glove.hold_state(hold))] + "\",\"code\":" + text(why.code) +
                              ",\"path\":" + text(why.path) + ",\"message\":" + text(why.message) + ",\"limited\":" + text(glove.limited(hold)) + "}";
      if (said[name] != now) std::puts((said[name] = now).c_str());
    }
    std::string line, word, name, curl;
    {
      const std::lock_guard<std::mutex> lock(mutex);
      if (lines.empty()) continue;
      line = lines.front();
      lines.pop_front();
    }
    std::istringstream(line) >> word >> name >> curl;
    if (word == "end") return 0;
    if (word == "stop" && holds.count(name) == 0) holds[name] = glove.hold(1, "resist", stop(curl));
    else if (word == "stop") glove.move(holds[name], stop(curl));
    if (word == "touch") holds[name] = glove.hold(1, "touch", R"("shape":{"kind":"sphere","radius":0.03},"effort":0)");
    if (word == "free") glove.release(holds[name]);
  }
}
