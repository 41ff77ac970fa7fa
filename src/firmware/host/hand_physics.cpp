#include "hand_physics.h"

#include <algorithm>
#include <cmath>

namespace {
constexpr double kOpenUs = 2300;
constexpr double kOutOfTheWayUs = 100;  // beyond the closed hand
// Where the servo has paid out all of the finger's string.
double closedAngle(const Finger& finger) { return finger.body.model.travel / finger.servo.model.spoolRadius; }
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

void HandPhysics::breakServo(size_t index, double part, bool hornReversed) {
  const ServoModel sound;
  Finger& finger = fingers[index];
  finger.servo.model.freeSpeed = sound.freeSpeed * part;
  finger.servo.model.stallTorque = part > 0 ? sound.stallTorque : 0;
  if (finger.hornReversed != hornReversed) finger.servo.mirror(closedAngle(finger));
  finger.hornReversed = hornReversed;
}

void HandPhysics::command(size_t index, double us, bool free, uint8_t effort) {
  Finger& finger = fingers[plugged_[index]];
  // A servo that gets out of the way does so with all its strength.
  const double share = free || drive_ == Drive::hobby ? 1 : effort / 255.0;
  const double angle = (kOpenUs - us) * finger.servo.model.radiansPerUs;
  finger.servo.command(finger.hornReversed ? closedAngle(finger) - angle : angle, share);
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
  const ServoPhysics& servo = fingers[plugged_[index]].servo;
  return kOpenUs - servo.angle() / servo.model.radiansPerUs;
}

double HandPhysics::hottest() const {
  double most = fingers[0].servo.model.ambient;
  for (const Finger& finger : fingers) most = std::max(most, finger.servo.temperature());
  return most;
}
