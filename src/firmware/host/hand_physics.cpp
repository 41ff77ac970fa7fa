#include "hand_physics.h"

#include <algorithm>
#include <cmath>

namespace {
constexpr double kOpenUs = 2300;
constexpr double kOutOfTheWayUs = 100;  // beyond the closed hand
}  // namespace

HandPhysics::HandPhysics(Drive drive, double now) : drive_(drive), time_(now) {}

tautline::ActuatorSpec HandPhysics::fit(tautline::ActuatorSpec spec) const {
  const ServoModel servo;
  const FingerModel finger;
  const double span = finger.travel / servo.spoolRadius / servo.radiansPerUs;
  spec.openUs = static_cast<uint16_t>(kOpenUs);
  spec.closedUs = static_cast<uint16_t>(std::lround(kOpenUs - span));
  spec.freeUs = static_cast<uint16_t>(spec.closedUs - kOutOfTheWayUs);
  return spec;
}

void HandPhysics::addServo(size_t index, const tautline::ActuatorSpec& spec) {
  Finger& finger = fingers[index];
  finger.hasServo = true;
  finger.servo.place((kOpenUs - spec.freeUs) * finger.servo.model.radiansPerUs);
  finger.servo.firstPulseIn(finger.servo.model.pulseSeconds * static_cast<double>(index) / kFingers);
}

void HandPhysics::command(size_t index, double us, bool free, uint8_t effort) {
  Finger& finger = fingers[index];
  // A servo that gets out of the way does so with all its strength.
  const double share = free || drive_ == Drive::hobby ? 1 : effort / 255.0;
  finger.servo.command((kOpenUs - us) * finger.servo.model.radiansPerUs, share);
  if (free && !finger.freed) {
    finger.positionWhenFreed = finger.body.position();
    finger.yieldedAt = -1;
  }
  finger.freed = free;
}

void HandPhysics::stepFinger(Finger& finger, double aim) {
  // Without a servo the string runs as it likes.
  const double paidOut = finger.hasServo ? finger.servo.paidOut() : 2 * finger.body.model.travel;
  finger.body.step(kStep, aim, paidOut);
  if (!finger.hasServo) return;
  finger.servo.step(kStep, finger.body.tension(), supply.volts);
  if (finger.freed && finger.yieldedAt < 0 && finger.servo.paidOut() >= finger.positionWhenFreed) {
    finger.yieldedAt = time_;
  }
}

void HandPhysics::stepSupply() {
  double amperes = 0;
  for (const Finger& finger : fingers) {
    if (finger.hasServo) amperes += finger.servo.amperes();
  }
  supply.load(amperes);
}

double HandPhysics::pulseUs(size_t index) const {
  const ServoPhysics& servo = fingers[index].servo;
  return kOpenUs - servo.angle() / servo.model.radiansPerUs;
}

double HandPhysics::hottest() const {
  double most = fingers[0].servo.model.ambient;
  for (const Finger& finger : fingers) most = std::max(most, finger.servo.temperature());
  return most;
}
