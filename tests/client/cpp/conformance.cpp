// Answers each line of its input with a line of JSON; tests/end-to-end/client-vectors.test.ts asks and judges.
#include <cstdio>
#include <iostream>
#include <string>

#include "tautline_client.hpp"

static void print(const float* values, int count) {
  std::printf("[");
  for (int i = 0; i < count; i++) std::printf("%s%.9g", i ? "," : "", static_cast<double>(values[i]));
  std::printf("]");
}

int main() {
  const int shown[] = {0, 10, 25};
  // One pose for all: what is left of the one before must not show.
  tautline::Pose pose;
  for (std::string line; std::getline(std::cin, line);) {
    std::string bytes;
    for (std::size_t i = 7; i + 1 < line.size(); i += 2) bytes += static_cast<char>(std::stoi(line.substr(i, 2), nullptr, 16));
    if (!tautline::decode_pose(bytes, pose)) {
      std::puts("null");
      continue;
    }
    std::printf("{\"hand\":\"%s\",\"seq\":%u,\"timeUs\":%.17g,\"poseTimeUs\":%.17g,\"space\":\"%s\",\"valid\":%s,\"recorded\":%s,\"reason\":",
                pose.hand == tautline::Hand::kLeft ? "left" : "right", pose.seq, pose.time_us, pose.pose_time_us,
                pose.world ? "world" : "wrist", pose.valid ? "true" : "false",
                pose.recorded ? "true" : "false");
    if (pose.reason.empty()) std::printf("null");
    else std::printf("\"%s\"", pose.reason.c_str());
    const char* names[] = {"thumb", "index", "middle", "ring", "little"};
    const char* states[] = {"invalid", "inferred", "tracked"};
    std::printf(",\"fingers\":{");
    for (int i = 0; i < 5; i++) std::printf("%s\"%s\":\"%s\"", i ? "," : "", names[i], states[static_cast<int>(pose.fingers[i])]);
    std::printf("},\"joints\":[");
    for (const int joint : shown) {
      if (joint) std::printf(",");
      print(pose.joints[joint].position, 8);
    }
    std::printf("],\"velocities\":");
    if (!pose.has_velocities) std::printf("null");
    for (const int joint : shown) {
      if (!pose.has_velocities) break;
      std::printf(joint ? "," : "[");
      print(pose.velocities[joint].linear, 6);
    }
    std::printf(pose.has_velocities ? "],\"pressures\":" : ",\"pressures\":");
    if (pose.has_pressures) print(pose.pressures.data(), 5);
    else std::printf("null");
    std::puts("}");
  }
}
