#include "components.hpp"

#include <algorithm>
#include <iterator>

namespace tautline::layer {
namespace {

using Kind = Component::Kind;

constexpr std::string_view kHandPath[kSides] = {"/user/hand/left", "/user/hand/right"};

bool starts_with(std::string_view text, std::string_view start) { return text.substr(0, start.size()) == start; }

struct Analog {
  std::string_view identifier;
  Input value;
};
/// Pinch, activate and grasp are named with and without the extension's ending.
constexpr Analog kAnalogs[] = {
    {"trigger", Input::kTrigger},        {"select", Input::kTrigger},  {"squeeze", Input::kSqueeze},
    {"aim_activate", Input::kAimActivate}, {"pinch", Input::kPinch}, {"grasp", Input::kGrasp},
};
struct Button {
  std::string_view identifier;
  Input left, right;
};
/// A left hand's first button is x on some controllers and a on others.
constexpr Button kButtons[] = {
    {"a", Input::kX, Input::kA}, {"b", Input::kY, Input::kB},          {"x", Input::kX, Input::kA},
    {"y", Input::kY, Input::kB}, {"menu", Input::kMenu, Input::kMenu}, {"thumbrest", Input::kThumbRest, Input::kThumbRest},
};
struct NamedPose {
  std::string_view identifier;
  InputPose pose;
};
constexpr NamedPose kPoses[] = {
    {"grip", InputPose::kGrip},         {"aim", InputPose::kAim},           {"pinch_ext", InputPose::kPinch},
    {"poke_ext", InputPose::kPoke},     {"palm_ext", InputPose::kPalm},     {"grip_surface", InputPose::kPalm},
};

void read_input(Component& out, std::string_view identifier, std::string_view name) {
  constexpr std::string_view kEnding = "_ext";
  std::string_view plain = identifier;
  if (plain.size() > kEnding.size() && plain.substr(plain.size() - kEnding.size()) == kEnding) {
    plain.remove_suffix(kEnding.size());
  }
  const auto set = [&](Kind kind, Input input) {
    out.kind = kind;
    out.input = input;
  };
  if (name == "pose") {
    for (const NamedPose& each : kPoses) {
      if (each.identifier != identifier) continue;
      out.kind = Kind::kPose;
      out.pose = each.pose;
    }
    return;
  }
  for (const Analog& each : kAnalogs) {
    if (each.identifier != plain) continue;
    // A parent path stands for its value.
    if (name.empty() || name == "value" || name == "force") set(Kind::kAnalog, each.value);
    else if (name == "click") set(Kind::kClick, each.value);
    else if (name == "touch") set(Kind::kTouch, each.value);
    else if (name == "ready_ext") {
      if (each.value == Input::kPinch) set(Kind::kDigital, Input::kPinchReady);
      if (each.value == Input::kGrasp) set(Kind::kDigital, Input::kGraspReady);
      if (each.value == Input::kAimActivate) set(Kind::kDigital, Input::kAimActivateReady);
    }
    return;
  }
  if (identifier == "thumbstick" || identifier == "trackpad") {
    if (name.empty()) out.kind = Kind::kStick;
    else if (name == "x") set(Kind::kAnalog, Input::kStickX);
    else if (name == "y") set(Kind::kAnalog, Input::kStickY);
    else if (name == "click" || name == "force") set(Kind::kDigital, Input::kStickClick);
    else if (name == "touch") set(Kind::kTouch, Input::kStickX);
    return;
  }
  for (const Button& each : kButtons) {
    if (each.identifier != identifier) continue;
    if (name.empty() || name == "click" || name == "touch" || name == "value") {
      set(Kind::kDigital, out.side == kLeft ? each.left : each.right);
    }
    return;
  }
}

}  // namespace

Component read_component(std::string_view path) {
  Component out;
  for (const Side side : kBothSides) {
    if (!starts_with(path, kHandPath[side])) continue;
    std::string_view rest = path.substr(kHandPath[side].size());
    out.side = side;
    if (starts_with(rest, "/output/haptic")) {
      out.of_hand = true;
      out.kind = Kind::kHaptic;
    } else if (starts_with(rest, "/input/")) {
      out.of_hand = true;
      rest.remove_prefix(std::string_view("/input/").size());
      const std::size_t slash = rest.find('/');
      out.identifier = std::string(rest.substr(0, slash));
      read_input(out, out.identifier, slash == std::string_view::npos ? std::string_view() : rest.substr(slash + 1));
    }
  }
  return out;
}

bool is_hand_interaction_path(std::string_view path) {
  static constexpr std::string_view kPaths[] = {
      "/input/aim/pose",          "/input/grip/pose",          "/input/pinch_ext/pose",
      "/input/poke_ext/pose",     "/input/pinch_ext/value",    "/input/pinch_ext/ready_ext",
      "/input/grasp_ext/value",   "/input/grasp_ext/ready_ext", "/input/aim_activate_ext/value",
      "/input/aim_activate_ext/ready_ext",
      // Parents: a pose, or a value.
      "/input/aim", "/input/grip", "/input/pinch_ext", "/input/poke_ext", "/input/grasp_ext",
      "/input/aim_activate_ext",
  };
  for (const std::string_view hand : kHandPath) {
    if (!starts_with(path, hand)) continue;
    const std::string_view rest = path.substr(hand.size());
    if (std::find(std::begin(kPaths), std::end(kPaths), rest) != std::end(kPaths)) return true;
  }
  return false;
}

bool is_hand_interaction_pose(std::string_view path) {
  for (const std::string_view hand : kHandPath) {
    if (!starts_with(path, hand)) continue;
    const std::string_view rest = path.substr(hand.size());
    if (rest == "/input/pinch_ext/pose" || rest == "/input/poke_ext/pose") return true;
  }
  return false;
}

}  // namespace tautline::layer
