// What controller and glove each give to an action's state.
#ifndef TAUTLINE_OPENXR_PARTS_HPP
#define TAUTLINE_OPENXR_PARTS_HPP

#include "layer.hpp"

namespace tautline::layer {

/// What a glove gives at this sync.
struct Frozen {
  bool live[kSides] = {};
  InputValues inputs[kSides];
  XrTime time[kSides] = {};
};

/// Takes the gloves' inputs as they are now. Under the session's lock.
Frozen freeze(Session& session);

/// One source's part of an action's state.
struct Part {
  bool active = false;
  float x = 0, y = 0;
  bool by_hand = false;
  Side hand = kLeft;
};

/// Adds a part: or for booleans, the larger magnitude for numbers, the longer vector.
void merge(XrActionType type, Part& into, const Part& part);

/// What a glove gives a binding.
Part read_glove(const Session& session, const Frozen& frozen, const Component& component, XrActionType type);

/// The state below; inactive when it cannot be had.
Part read_below(const Session& session, const Action& action, XrPath subaction, XrTime& changed_at);

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_PARTS_HPP
