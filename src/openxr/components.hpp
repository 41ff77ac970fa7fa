// What an input path means for a glove: by its component's name, whatever the profile, so that profiles not yet made
// work too.
#ifndef TAUTLINE_OPENXR_COMPONENTS_HPP
#define TAUTLINE_OPENXR_COMPONENTS_HPP

#include <cstdint>
#include <string>
#include <string_view>

#include "hand-sample.hpp"
#include "inputs.hpp"

namespace tautline::layer {

struct Component {
  enum class Kind : std::uint8_t {
    kNothing,  ///< nothing that a glove has
    kAnalog,   ///< a value of 0..1
    kClick,    ///< a value beyond a threshold, or the button
    kTouch,    ///< a value that is not nothing
    kDigital,  ///< a button
    kStick,    ///< two values of -1..1
    kPose,
    kHaptic,
  };

  bool of_hand = false;  ///< behind /user/hand/left or right; nothing else counts unless it is
  Side side = kLeft;
  /// Actions collide when they are bound to the same of these, such as `trigger`; empty for outputs.
  std::string identifier;
  Kind kind = Kind::kNothing;
  Input input = Input::kTrigger;       ///< of kAnalog, kClick, kTouch, kDigital
  InputPose pose = InputPose::kGrip;   ///< of kPose
};

/// @param path such as `/user/hand/right/input/trigger/value`
Component read_component(std::string_view path);

/// Whether the path belongs to the profile of XR_EXT_hand_interaction.
bool is_hand_interaction_path(std::string_view path);
/// Whether the path belongs to every profile of a hand, because of XR_EXT_hand_interaction alone.
bool is_hand_interaction_pose(std::string_view path);

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_COMPONENTS_HPP
