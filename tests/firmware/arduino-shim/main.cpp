// Runs the sketch on the stand-in board by commands on standard input, one a line, and prints what the board does, a line
// each: time in microseconds, what, with which numbers.
//
//   setup US         as the core does after a reset; the link takes so long
//   run US           loop() again and again, for so long
//   hang US          loop() is not called for so long
//   block US         the next write of the sketch takes so long
//   flood US         bytes come for so long, faster than they can be read
//   send HEX         bytes from the host
//   tasks off        none is scheduled any more
//   watchdog off     the core has not started the task watchdog
//   stats            prints how often the task watchdog was put off
#include <Arduino.h>

#include <cstdio>
#include <iostream>

#include "board.h"

namespace {

constexpr uint64_t kLoopUs = 250;

std::vector<uint8_t> fromHex(const std::string& hex) {
  std::vector<uint8_t> bytes;
  for (size_t i = 0; i + 1 < hex.size(); i += 2) {
    bytes.push_back(static_cast<uint8_t>(std::stoul(hex.substr(i, 2), nullptr, 16)));
  }
  return bytes;
}

void run(uint64_t us) {
  const uint64_t end = board.nowUs + us;
  while (board.nowUs < end) {
    loop();
    board.pass(kLoopUs);
  }
}

}  // namespace

int main() {
  std::string verb;
  while (std::cin >> verb) {
    std::string argument;
    if (verb != "stats") std::cin >> argument;
    if (verb == "setup") {
      board.setupUs = std::stoull(argument);
      setup();
      connectHost();
    } else if (verb == "run") {
      run(std::stoull(argument));
    } else if (verb == "hang") {
      board.event("hangs");
      board.pass(std::stoull(argument));
    } else if (verb == "block") {
      board.blockUs = std::stoull(argument);
    } else if (verb == "flood") {
      board.floodUntilUs = board.nowUs + std::stoull(argument);
    } else if (verb == "send") {
      receiveFromHost(fromHex(argument));
    } else if (verb == "tasks") {
      board.scheduling = argument != "off";
    } else if (verb == "watchdog") {
      board.watchdogStarted = argument != "off";
    } else if (verb == "stats") {
      board.event("fed %llu", static_cast<unsigned long long>(board.watchdogResets));
    } else {
      std::fprintf(stderr, "no command %s\n", verb.c_str());
      return 2;
    }
  }
  std::fflush(stdout);
  // Its tasks wait for ever.
  std::_Exit(0);
}
