// Five fingers, a servo and a string for those that have one, and the supply that all servos share. Steps are
// fixed, so the same inputs give the same motion.
#ifndef TAUTLINE_HAND_PHYSICS_H
#define TAUTLINE_HAND_PHYSICS_H

#include <array>
#include <cstddef>
#include <cstdint>
#include <utility>

#include "../core/hardware.h"
#include "finger_physics.h"
#include "servo_physics.h"
#include "supply.h"

// What a drive can do with an effort: a hobby servo holds with all it has or not at all.
enum class Drive { hobby, torque };

struct Finger {
  FingerPhysics body;
  ServoPhysics servo;
  bool hasServo = false;
  bool freed = true;         // by the last command
  bool hornReversed = false;
  double positionWhenFreed = 0;
  double yieldedAt = -1;     // seconds: the string let go of where the finger was when freed; -1: not yet
};

class HandPhysics {
 public:
  static constexpr size_t kFingers = 5;
  static constexpr double kStep = 0.00025;

  HandPhysics(Drive drive, double now);

  // Pulses that make a servo's travel that of the finger; with the way out of the way beyond a closed hand.
  tautline::ActuatorSpec fit(tautline::ActuatorSpec spec) const;
  void addServo(size_t finger, const tautline::ActuatorSpec& spec);
  // What can be wrong with a servo: it turns at `part` of its speed, 0 for one without current, or the other way round.
  void breakServo(size_t finger, double part, bool hornReversed);
  // Exchanges the plugs of two servos.
  void exchangeServos(size_t one, size_t other) { std::swap(plugged_[one], plugged_[other]); }
  // `us`: the pulse.
  void command(size_t finger, double us, bool free, uint8_t effort);

  // Takes every step that is due by now. aimAt(finger, seconds) is the curl that the muscles want at that time.
  template <typename AimAt>
  void advance(double now, AimAt aimAt) {
    while (time_ + kStep <= now) {
      time_ += kStep;
      for (size_t i = 0; i < kFingers; ++i) stepFinger(fingers[i], aimAt(i, time_));
      stepSupply();
    }
  }

  double pulseUs(size_t finger) const;
  double hottest() const;

  std::array<Finger, kFingers> fingers;
  Supply supply;

 private:
  void stepFinger(Finger& finger, double aim);
  void stepSupply();

  Drive drive_;
  double time_;
  // The finger whose servo is plugged in where the servo of a finger belongs.
  std::array<size_t, kFingers> plugged_{{0, 1, 2, 3, 4}};
};

#endif  // TAUTLINE_HAND_PHYSICS_H
