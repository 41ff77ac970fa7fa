// Prints the index finger tip of each pose, and with "hold" stops the index finger at half its way
// once the wearer has armed the glove.
//   c++ -std=c++17 -O2 example.cpp -o example && ./example 127.0.0.1 7117 100 [hold]
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <string>

#include "tautline_client.hpp"

int main(int argc, char** argv) {
  const std::string host = argc > 1 ? argv[1] : "127.0.0.1";
  const int port = argc > 2 ? std::atoi(argv[2]) : 7117;
  const long poses = argc > 3 ? std::atol(argv[3]) : 0;
  const bool hold = argc > 4 && std::string(argv[4]) == "hold";
  try {
    tautline::Client client(host, port);
    client.send(R"({"type":"subscribe","app":"C++ example","streams":["joints","resistance"]})");
    using Clock = std::chrono::steady_clock;
    Clock::time_point renew = Clock::now();
    const int tip = tautline::joint_index("index-finger-tip");
    long count = 0;
    bool armed = false;
    tautline::Message message;
    while (client.next(message)) {
      if (!message.is_pose) {
        if (message.json.find("\"type\":\"error\"") != std::string::npos) {
          std::fprintf(stderr, "%s\n", message.json.c_str());
        }
        // No app arms: it waits until the wearer has. "welcome" says how, as "howToArm".
        if (message.json.find("\"type\":\"resistance\"") != std::string::npos) {
          const bool was = armed;
          armed = message.json.find("\"armed\":true") != std::string::npos;
          if (hold && armed != was) std::fprintf(stderr, armed ? "armed\n" : "disarmed\n");
        }
        continue;
      }
      const tautline::Pose& pose = message.pose;
      const float* at = pose.joints[tip].position;
      const char* hand = pose.hand == tautline::Hand::kLeft ? "left" : "right";
      std::printf("%s %u %.0f %d %.4f %.4f %.4f\n", hand, pose.seq, pose.time_us, pose.valid, at[0], at[1], at[2]);
      if (++count == poses) break;
      if (hold && armed && Clock::now() >= renew) {
        client.send(std::string(R"({"type":"resist","hand":")") + hand +
                    R"(","fingers":{"index":{"stopAt":0.5,"effort":1}}})");
        renew = Clock::now() + std::chrono::milliseconds(100);
      }
    }
  } catch (const std::exception& error) {
    std::fprintf(stderr, "example: %s\n", error.what());
    return 1;
  }
  return 0;
}
