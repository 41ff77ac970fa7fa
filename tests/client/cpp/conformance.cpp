// Answers each line of its input with a line of JSON; tests/end-to-end/client-vectors.test.ts asks and judges.
#include <cstdio>
#include <iostream>
#include <sstream>
#include <string>
#include <vector>

#ifndef _WIN32
#include "tautline_client.hpp"
#endif
#include "tautline_error.hpp"
#include "tautline_grab.hpp"
#include "tautline_shapes.hpp"

static const int kShown[] = {0, 10, 25};

static void print(const float* values, int count) {
  std::printf("[");
  for (int i = 0; i < count; i++) std::printf("%s%.9g", i ? "," : "", static_cast<double>(values[i]));
  std::printf("]");
}

static std::string bytes_of(const std::string& hex) {
  std::string bytes;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2) bytes += static_cast<char>(std::strtol(hex.substr(i, 2).c_str(), nullptr, 16));
  return bytes;
}

#ifndef _WIN32
static void recorded(const std::string& hex) {
  // One pose for all: what is left of the one before must not show.
  static tautline::Pose pose;
  const std::string bytes = bytes_of(hex);
  if (!tautline::decode_pose(bytes, pose)) {
    std::puts("null");
    return;
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
  for (const int joint : kShown) {
    if (joint) std::printf(",");
    print(pose.joints[joint].position, 8);
  }
  std::printf("],\"velocities\":");
  if (!pose.has_velocities) std::printf("null");
  for (const int joint : kShown) {
    if (!pose.has_velocities) break;
    std::printf(joint ? "," : "[");
    print(pose.velocities[joint].linear, 6);
  }
  std::printf(pose.has_velocities ? "],\"pressures\":" : ",\"pressures\":");
  if (pose.has_pressures) print(pose.pressures.data(), 5);
  else std::printf("null");
  std::puts("}");
}
#endif

/// As the header for frame loops reads it: that one has each quaternion at length 1.
static void linked(const std::string& hex) {
  static tautline::link::JointsRecord record;
  const std::string bytes = bytes_of(hex);
  if (!tautline::link::read_joints(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size(), record)) {
    std::puts("null");
    return;
  }
  std::printf("{\"hand\":\"%s\",\"seq\":%u,\"timeUs\":%.17g,\"space\":\"%s\",\"valid\":%s,\"recorded\":%s,\"joints\":[",
              record.hand == 0 ? "left" : "right", record.seq, record.time_us, record.world ? "world" : "wrist",
              record.valid ? "true" : "false", record.recorded ? "true" : "false");
  for (const int joint : kShown) {
    if (joint) std::printf(",");
    print(record.joints[joint].position, 8);
  }
  std::printf("],\"pressures\":");
  if (record.has_pressures) print(record.pressures, 5);
  else std::printf("null");
  std::puts("}");
}

using Words = std::vector<std::string>;
static std::vector<float> numbers(const Words& words, std::size_t from) {
  std::vector<float> found;
  for (std::size_t i = from; i < words.size(); i++) found.push_back(std::strtof(words[i].c_str(), nullptr));
  return found;
}
static void print(tautline::Vec3 v) {
  const float values[] = {v.x, v.y, v.z};
  print(values, 3);
}
static void print(tautline::Quat q) {
  const float values[] = {q.x, q.y, q.z, q.w};
  print(values, 4);
}
static void print(const tautline::RigidPose& pose) {
  const float values[] = {pose.position.x, pose.position.y, pose.position.z, pose.orientation.x, pose.orientation.y, pose.orientation.z, pose.orientation.w};
  print(values, 7);
}
static tautline::Axes axes_of(const Words& words) { return {words[1], words[2], words[3], std::strtof(words[4].c_str(), nullptr)}; }

static void turned(const Words& words) {
  const tautline::Axes axes = axes_of(words);
  const std::vector<float> n = numbers(words, 5);
  const tautline::Vec3 position = axes.to_engine(tautline::Vec3{n[0], n[1], n[2]});
  const tautline::Quat orientation = axes.to_engine(tautline::Quat{n[3], n[4], n[5], n[6]});
  std::printf("{\"position\":");
  print(position);
  std::printf(",\"orientation\":");
  print(orientation);
  std::printf(",\"back\":[");
  print(axes.to_stream(position));
  std::printf(",");
  print(axes.to_stream(orientation));
  std::puts("]}");
}

static void collided(const Words& words) {
  const tautline::Colliders colliders(axes_of(words));
  const std::vector<float> n = numbers(words, 6);
  const tautline::Placement at{{n[0], n[1], n[2]}, {n[3], n[4], n[5], n[6]}, {n[7], n[8], n[9]}};
  const tautline::Vec3 centre{n[10], n[11], n[12]};
  tautline::PlacedShape placed;
  if (words[5] == "sphere") placed = colliders.sphere(at, centre, n[13]);
  else if (words[5] == "box") placed = colliders.box(at, centre, {n[13], n[14], n[15]});
  else if (words[5] == "capsule") placed = colliders.capsule(at, centre, n[13], n[14], static_cast<int>(n[15]));
  else {
    std::vector<tautline::Vec3> points;
    for (std::size_t i = 13; i < n.size(); i += 3) points.push_back({n[i], n[i + 1], n[i + 2]});
    placed = colliders.convex(at, points.data(), points.size());
  }
  std::printf("{\"shape\":%s,\"reach\":%.9g,\"position\":", placed.shape.ok() ? placed.shape.json().c_str() : "null", static_cast<double>(placed.shape.reach()));
  print(placed.position);
  std::printf(",\"orientation\":");
  print(placed.orientation);
  std::puts("}");
}

static void grabbed(const Words& words) {
  static tautline::GrabCore core(0);
  const std::vector<float> n = numbers(words, 2);
  if (words[1] == "reach") {
    core = tautline::GrabCore(n[0]);
    std::puts("null");
    return;
  }
  const auto pose = [&n](std::size_t i) {
    return tautline::RigidPose{{n[i], n[i + 1], n[i + 2]}, {n[i + 3], n[i + 4], n[i + 5], n[i + 6]}};
  };
  tautline::link::JointsRecord hand{};
  hand.valid = n[1] != 0;
  hand.seq = static_cast<std::uint32_t>(n[2]);
  hand.has_velocities = n[6] != 0;
  for (tautline::link::Joint& joint : hand.joints) {
    for (std::size_t i = 0; i < 3; i++) joint.position[i] = n[14 + i];
    for (std::size_t i = 0; i < 4; i++) joint.orientation[i] = n[17 + i];
  }
  for (std::size_t i = 0; i < 3; i++) {
    hand.joints[10].position[i] = n[21 + i];
    hand.velocities[0].linear[i] = n[24 + i];
    hand.velocities[0].angular[i] = n[27 + i];
  }
  if (n[5] != 0) core.drop();
  const tautline::GrabEvent event = core.update(static_cast<double>(n[0]), hand, n[3] != 0, static_cast<int>(n[4]), pose(7));
  const char* states[] = {"away", "near", "held"};
  const char* events[] = {"null", "\"grabbed\"", "\"letGo\""};
  std::printf("{\"state\":\"%s\",\"event\":%s,\"object\":", states[static_cast<int>(core.state)], events[static_cast<int>(event)]);
  print(core.object);
  std::printf(",\"inPalm\":");
  if (core.state == tautline::GrabState::kHeld) print(core.in_palm);
  else std::printf("null");
  std::printf(",\"velocity\":");
  print(core.velocity);
  std::printf(",\"angularVelocity\":");
  print(core.angular_velocity);
  std::puts("}");
}

static void refused(const std::string& text) {
  // One for all: what is left of the one before must not show.
  static tautline::Error error;
  const auto quote = [](const std::string& one) { return one.empty() ? "null" : tautline::link::json::quote(one); };
  if (!tautline::read_error(text, error)) std::puts("null");
  else std::printf("{\"code\":%s,\"message\":%s,\"path\":%s}\n", quote(error.code).c_str(), quote(error.message).c_str(), quote(error.path).c_str());
}

int main() {
  for (std::string line; std::getline(std::cin, line);) {
    std::istringstream in(line);
    Words words;
    for (std::string word; in >> word;) words.push_back(word);
    const std::string hex = words.size() > 1 ? words[1] : "";
    if (words[0] == "error") refused(line.substr(6));
    else if (words[0] == "axes") turned(words);
    else if (words[0] == "collider") collided(words);
    else if (words[0] == "grab") grabbed(words);
    else if (words[0] == "linked") linked(hex);
#ifndef _WIN32
    else recorded(hex);
#endif
  }
}
