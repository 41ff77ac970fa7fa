// Throws damaged messages at everything of the layer that reads what comes from outside, for a sanitizer to watch:
//   hostile COUNT SEED
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <random>
#include <string>
#include <vector>

#include "../../src/client/cpp/link/discovery.hpp"
#include "../../src/openxr/link.hpp"

using tautline::layer::Link;
using tautline::link::WebSocket;

namespace {

std::mt19937 numbers;
unsigned below(std::size_t n) { return static_cast<unsigned>(numbers() % n); }

std::string good_record() {
  std::string bytes(852 + 624, '\0');
  bytes[0] = 1;
  bytes[1] = static_cast<char>(below(2));
  bytes[2] = 3;
  bytes[3] = 26;
  const double time = 1e6 + double(below(1u << 30));
  std::memcpy(&bytes[8], &time, 8);
  bytes[16] = static_cast<char>(0xaa);
  bytes[17] = 2;
  for (int joint = 0; joint < 26; joint++) {
    const float pose[8] = {0.01f * float(joint), 0, 0, 0, 0, 0, 1, 0.01f};
    std::memcpy(&bytes[std::size_t(20 + joint * 32)], pose, sizeof pose);
  }
  return bytes;
}

const char* const kTexts[] = {
    R"({"type":"welcome","protocol":1,"server":{"name":"x","version":"1"},"app":"a","timeUs":12,"hands":[{"hand":"right","mount":[0,0,0.1,0,0,0,1],"channels":[{"role":"thumb.curl","bits":12}]}]})",
    R"({"type":"inputs","hand":"left","seq":1,"timeUs":123.5,"values":{"/user/hand/left/input/trigger/value":0.25,"/user/hand/left/input/a/click":true},"poses":{"/p":[1,2,3,0,0,0,1]}})",
    R"({"type":"ack","for":"ping","timeUs":1e6,"echoUs":12.25})",
    R"({"type":"error","id":1,"code":"notPermitted","message":"\"\u00e9\ud83d\" \\ /"})",
};

std::string mutated(std::string text) {
  for (unsigned times = 1 + below(6); times > 0; times--) {
    const std::size_t at = text.empty() ? 0 : below(text.size());
    switch (below(7)) {
      case 0: if (!text.empty()) text[at] = static_cast<char>(numbers()); break;
      case 1: text.insert(at, 1 + below(8), static_cast<char>(numbers())); break;
      case 2: text.erase(at, 1 + below(16)); break;
      case 3: text.resize(at); break;
      case 4: text += text.substr(at); break;
      case 5: text.insert(at, std::string(1 + below(200), "[{\"0-e"[below(6)])); break;
      default: if (text.size() >= 4) { const float bad[] = {NAN, INFINITY, -1e30f, 0}; std::memcpy(&text[below(text.size() - 3)], &bad[below(4)], 4); }
    }
    if (text.size() > 8192) text.resize(8192);
  }
  return text;
}

}  // namespace

int main(int argc, char** argv) {
  const long count = argc > 1 ? std::atol(argv[1]) : 10000;
  numbers.seed(static_cast<unsigned>(argc > 2 ? std::atol(argv[2]) : 1));
  Link& link = Link::get();
  tautline::layer::HandSample sample;
  tautline::layer::InputValues values;
  long live = 0;
  for (long i = 0; i < count; i++) {
    const bool binary = below(2) == 0;
    std::string text = binary ? good_record() : kTexts[below(4)];
    if (below(8) != 0) text = mutated(text);
    const auto* bytes = reinterpret_cast<const std::uint8_t*>(text.data());
    link.take(binary ? WebSocket::Kind::kBinary : WebSocket::Kind::kText, bytes, text.size());
    for (const auto side : tautline::layer::kBothSides) {
      float ahead = 0;
      if (link.sample(side, tautline::layer::monotonic_ns() + std::int64_t(below(1u << 31)) - (1 << 30), sample, ahead)) {
        live++;
        tautline::layer::JointState joints[26];
        tautline::layer::carry_ahead(sample, ahead, joints);
        XrHandJointLocationEXT locations[26];
        XrHandJointVelocityEXT velocities[26];
        tautline::layer::Wrist wrist;
        wrist.has_velocity = true;
        tautline::layer::put_on_wrist(joints, sample.fingers, wrist, locations, velocities);
        for (const auto& each : locations) {
          const float sum = each.pose.position.x + each.pose.orientation.w + each.radius;
          if (sum != sum) {
            std::fprintf(stderr, "not a number after %ld\n", i);
            return 1;
          }
        }
      }
      link.inputs(side, values);
      for (const float value : values.values) {
        if (!(value >= -1 && value <= 1)) return 2;
      }
    }
    tautline::link::Endpoint endpoint;
    if (i % 16 == 0) tautline::link::read_discovery(mutated(R"({"url":"ws://127.0.0.1:7117/stream","token":"t","pid":1})"), endpoint);
  }
  std::printf("%ld messages, %ld samples shown\n", count, live);
  return live > 0 ? 0 : 3;
}
