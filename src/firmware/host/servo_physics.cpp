#include "servo_physics.h"

#include <algorithm>
#include <cmath>

void ServoPhysics::place(double angle) {
  commandedAngle_ = target_ = angle_ = turningPoint_ = angle;
  speed_ = 0;
  direction_ = 0;
}

// A geared direct-current motor: torque falls in a straight line from stall to free speed, both in proportion to
// the voltage. Driven backwards it is not credited with more than its stall torque, and within the dead band the
// electronics leave it alone.
double ServoPhysics::motorTorque(double volts) const {
  const double error = target_ - angle_;
  if (std::fabs(error) <= model.deadBand) return 0;
  const double fraction = volts / model.ratedVolts;
  const double stall = model.stallTorque * fraction * share_;
  const double speed = std::max(1e-6, model.freeSpeed * fraction);
  const double drive = std::max(-1.0, std::min(1.0, error / model.fullDriveAt));
  return std::max(-stall, std::min(stall, stall * (drive - speed_ / speed)));
}

void ServoPhysics::step(double seconds, double tension, double volts) {
  untilPulse_ -= seconds;
  if (untilPulse_ <= 0) {
    untilPulse_ += model.pulseSeconds;
    target_ = commandedAngle_;
    share_ = commandedShare_;
  }
  const double motor = motorTorque(volts);
  const double net = motor + tension * model.spoolRadius;
  if (speed_ == 0 && std::fabs(net) <= model.friction) {
    // It stays where it is.
  } else {
    const double moving = speed_ != 0 ? speed_ : net;
    const double next = speed_ + seconds * (net - std::copysign(model.friction, moving)) / model.inertia;
    // Friction stops, it never turns round.
    speed_ = speed_ != 0 && next * speed_ < 0 && std::fabs(net) <= model.friction ? 0 : next;
  }
  angle_ += seconds * speed_;
  countReversal();

  // One without current draws none.
  const bool live = model.stallTorque > 0;
  amperes_ = live ? model.idleAmperes + model.stallAmperes * std::fabs(motor) / model.stallTorque : 0;
  const double watts = amperes_ * amperes_ * model.motorOhms();
  temperature_ += seconds * (watts * model.kelvinPerWatt - (temperature_ - model.ambient)) / model.thermalSeconds;
}

void ServoPhysics::countReversal() {
  const double gone = angle_ - turningPoint_;
  if (direction_ == 0) {
    if (std::fabs(gone) > model.deadBand / 2) direction_ = gone > 0 ? 1 : -1;
  } else if (gone * direction_ > 0) {
    turningPoint_ = angle_;
  } else if (-gone * direction_ > model.deadBand / 2) {
    direction_ = -direction_;
    turningPoint_ = angle_;
    ++reversals_;
  }
}
