// The side channel's commands for a hand with physics (see README.md).
#ifndef TAUTLINE_PHYSICS_COMMANDS_H
#define TAUTLINE_PHYSICS_COMMANDS_H

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "simulated_hand.h"

// Answers a line, cut into words, or returns an empty string if its verb is none of these.
// `deviceUs` tells the device time of a moment in seconds.
std::string physicsCommand(SimulatedHand& hand, const std::vector<std::string>& words,
                           const std::function<uint32_t(double)>& deviceUs);

#endif  // TAUTLINE_PHYSICS_COMMANDS_H
