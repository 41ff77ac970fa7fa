// The parts of a glove that are not electronics: a hand that moves, potentiometers that measure it, and
// servos that stop it. Times are seconds on a monotonic clock.
#ifndef TAUTLINE_SIMULATED_HAND_H
#define TAUTLINE_SIMULATED_HAND_H

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "../core/hardware.h"
#include "hand_physics.h"
#include "open_wiper.h"

// What can be wrong with a channel.
enum class ChannelFault {
  none, dead, railed, intermittent, noisy, reversed, shortRange, drifting, missing,
  open,      // the wiper is off; a pull-down of so many kilo-ohms
  floating,  // the same without a pull-down; so many nanoamperes leak away
};

struct SimulatedChannel {
  std::string name;
  uint8_t role = 0;
  uint8_t bits = 12;
  // Counts at value 0 (open) and 1 (closed).
  double openCounts = 0;
  double closedCounts = 0;

  // Where the wearer wants this to be: moves from `from` to `to` between the two times and, if it sweeps,
  // back and forth forever.
  double from = 0;
  double to = 0;
  double moveStart = 0;
  double moveSeconds = 0;
  bool sweeping = false;
  bool smooth = false;  // as a hand moves: slowly at both ends

  ChannelFault fault = ChannelFault::none;
  double faultAmount = 0;
  double faultSince = 0;
  double deadCounts = 0;
  double glitchEnds = 0;
  double nextGlitch = 0;
  double glitchCounts = 0;
  OpenWiper wiper;
  double wiperShare = 0;  // of the rail's voltage
  double wiperAt = 0;     // seconds

  // Cross-talk: this part of another channel's way from its open end is added to the reading.
  std::string crossFrom;
  double crossPart = 0;
};

struct SimulatedServo {
  std::string name;
  tautline::ActuatorSpec spec = {};
  uint16_t stop = tautline::kStopFree;
  uint8_t effort = 0;
  double us = 0;  // where it is; a servo takes time to get where it is told
  uint32_t writes = 0;
  double writtenAt = 0;  // seconds, of the last command

  bool isFree() const { return stop == tautline::kStopFree || effort == 0; }
  // Where it stops the string now, in curl; above 1 is beyond a closed hand.
  double curl() const;
};

class SimulatedHand {
 public:
  SimulatedHand(uint32_t seed, double noiseCounts);

  // From now on fingers, strings and servos have mass, give and limits of force; before any channel is added.
  void addPhysics(Drive drive, double now);

  // False if the table of roles has no such name.
  bool addChannel(const std::string& name, uint8_t bits);
  bool addActuator(const std::string& name, const std::string& kind);

  // Index by role name or by number; -1 if there is none.
  int findChannel(const std::string& nameOrNumber) const;
  int findServo(const std::string& nameOrNumber) const;
  // The channel that says where a finger (0 thumb .. 4 little) wants to be: its first flexion channel.
  int intentChannel(size_t finger) const;

  // Moves the servos on to this time.
  void advance(double now);
  // Where the wearer wants it, before anything stops him.
  double wanted(const SimulatedChannel& channel) const;
  // Where it is: 0 open .. 1 closed.
  double value(size_t channel) const;
  // A new converter reading, with noise and faults.
  uint16_t counts(size_t channel);

  // Starts a move from where the wearer's wish is now.
  void move(size_t channel, double to, double seconds);
  // As `move`, but as people do: quickest halfway, with that greatest speed in curl/s.
  void intend(size_t channel, double to, double peakSpeed);
  void sweep(size_t channel, double low, double high, double periodSeconds);
  void setFault(size_t channel, ChannelFault fault, double amount);
  void crossTalk(size_t channel, size_t from, double part);

  void command(size_t servo, uint16_t stop, uint8_t effort, double now);

  std::vector<SimulatedChannel> channels;
  std::vector<SimulatedServo> servos;
  double noiseCounts;
  // 0.15 s for 1000 us, some 90 degrees: a common hobby servo without load.
  double servoUsPerSecond = 6600;

  double random();  // 0 <= x < 1

  std::unique_ptr<HandPhysics> physics;  // null: a rigid stop and a finger without mass

 private:
  double wantedAt(const SimulatedChannel& channel, double time) const;
  double crossCounts(const SimulatedChannel& channel) const;
  double soundCounts(size_t channel) const;
  double openWiperCounts(size_t channel);
  double limitByStops(const SimulatedChannel& channel, double wanted) const;
  double gaussian();
  bool isPhysical(const SimulatedServo& servo) const;
  static size_t fingerIndex(const SimulatedServo& servo);

  uint32_t random_;
  double now_ = 0;
};

#endif  // TAUTLINE_SIMULATED_HAND_H
