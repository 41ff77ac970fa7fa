// The stream's JSON messages, as far as the layer reads them.
#ifndef TAUTLINE_OPENXR_MESSAGES_HPP
#define TAUTLINE_OPENXR_MESSAGES_HPP

#include <cmath>
#include <string_view>

#include "../client/cpp/link/json.hpp"
#include "hand-sample.hpp"
#include "inputs.hpp"

namespace tautline::layer {

/// The members of a message that the layer reads.
struct Message {
  link::json::Text type, hand, error_code;
  double id = 0, time_us = 0, echo_us = NAN;
  InputValues inputs;
  bool mounted[kSides] = {};
  double mounts[kSides][7] = {};
};

/// @return false: it is no such message
bool read_message(std::string_view text, Message& message);

/// @return false unless it is a place within reach and a rotation
bool read_mount(const double (&numbers)[7], XrPosef& mount);

inline Side side_of(const link::json::Text& hand) { return hand == "left" ? kLeft : kRight; }
inline bool is_hand(const link::json::Text& hand) { return hand == "left" || hand == "right"; }

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_MESSAGES_HPP
