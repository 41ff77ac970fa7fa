// The inputs of a glove, as the stream's `inputs` message has them.
#ifndef TAUTLINE_OPENXR_INPUTS_HPP
#define TAUTLINE_OPENXR_INPUTS_HPP

#include <cstdint>
#include <string_view>

namespace tautline::layer {

enum class Input : std::uint8_t {
  kTrigger,
  kSqueeze,
  kStickX,
  kStickY,
  kPinch,
  kPinchReady,
  kAimActivate,
  kAimActivateReady,
  kGrasp,
  kGraspReady,
  kA,
  kB,
  kX,
  kY,
  kMenu,
  kStickClick,
  kTriggerClick,
  kSqueezeClick,
  kThumbRest,
  kCount,
};
constexpr int kInputs = static_cast<int>(Input::kCount);

/// Paths of the stream behind `/user/hand/SIDE/input/`, in the order of Input.
constexpr std::string_view kInputPaths[kInputs] = {
    "trigger/value",
    "squeeze/value",
    "thumbstick/x",
    "thumbstick/y",
    "pinch_ext/value",
    "pinch_ext/ready_ext",
    "aim_activate_ext/value",
    "aim_activate_ext/ready_ext",
    "grasp_ext/value",
    "grasp_ext/ready_ext",
    "a/click",
    "b/click",
    "x/click",
    "y/click",
    "menu/click",
    "thumbstick/click",
    "trigger/click",
    "squeeze/click",
    "thumbrest/touch",
};

/// What one hand's inputs are; booleans are 0 or 1.
struct InputValues {
  double time_us = 0;
  float values[kInputs] = {};
  float padding = 0;

  float operator[](Input which) const { return values[static_cast<int>(which)]; }
};
static_assert(sizeof(InputValues) % 8 == 0);

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_INPUTS_HPP
