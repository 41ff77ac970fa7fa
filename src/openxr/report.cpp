#include "report.hpp"

#include <algorithm>

#include "../client/cpp/link/json.hpp"
#include "program.hpp"

#ifndef TAUTLINE_VERSION
#define TAUTLINE_VERSION "0.0.0"
#endif

namespace tautline::layer {

void Report::introduce(const Application& application, int id) {
  using link::json::quote;
  // Whole numbers alone: an application may have set a locale whose decimal point is none.
  std::string& text = head_;
  text = R"({"type":"openxr","id":)" + std::to_string(id);
  text += ",\"program\":" + quote(program_file());
  text += ",\"layer\":\"" TAUTLINE_VERSION "\",\"pid\":" + std::to_string(process_id());
  if (!application.name.empty()) text += ",\"app\":" + quote(application.name);
  if (!application.runtime.empty()) {
    text += ",\"runtime\":" + quote(application.runtime);
    text += ",\"runtimeVersion\":" + quote(application.runtime_version);
  }
  // Room for what follows.
  text_.reserve(head_.size() + 512);
}

const std::string& Report::message() {
  std::string& text = text_;
  text.assign(head_);
  text += focused_.load(std::memory_order_relaxed) ? ",\"focused\":true" : ",\"focused\":false";
  text += ",\"hands\":[";
  for (const Side side : kBothSides) {
    Hand& hand = hands_[side];
    const std::uint32_t located = hand.located.load(std::memory_order_relaxed);
    const std::uint32_t shown = hand.shown.load(std::memory_order_relaxed);
    const std::uint32_t inputs = hand.gave_inputs.load(std::memory_order_relaxed);
    const std::uint32_t ages = hand.ages_count.load(std::memory_order_relaxed);
    static constexpr const char* kFingerWords[] = {"nobody", "runtime", "glove"};
    static constexpr const char* kWristWords[] = {"nobody", "controller", "camera"};
    const bool asked = located != hand.told_located;
    text += side == kLeft ? R"({"hand":"left","fingers":")" : R"(,{"hand":"right","fingers":")";
    text += asked ? kFingerWords[std::min(shown >> 8, 2u)] : "unasked";
    if (asked) {
      text += R"(","wrist":")";
      text += kWristWords[std::min(shown & 0xff, 2u)];
    }
    text += inputs != hand.told_inputs ? R"(","inputs":true)" : R"(","inputs":false)";
    if (const std::uint32_t count = std::min(ages - hand.told_ages, kAges); count > 0) {
      std::array<std::uint32_t, kAges> late;
      for (std::uint32_t i = 0; i < count; i++) {
        late[i] = hand.ages[(ages - 1 - i) % kAges].load(std::memory_order_relaxed);
      }
      std::nth_element(late.begin(), late.begin() + count / 2, late.begin() + count);
      text += ",\"ageUs\":";
      text += std::to_string(late[count / 2]);
    }
    text += "}";
    hand.told_located = located;
    hand.told_inputs = inputs;
    hand.told_ages = ages;
  }
  text += "]}";
  return text;
}

}  // namespace tautline::layer
