#include "finger_physics.h"

#include <algorithm>
#include <cmath>

namespace {
constexpr double kRestSpeed = 0.005;  // m/s below which friction fades, so that it does not chatter

double clamp(double value, double least, double most) { return std::max(least, std::min(most, value)); }
}  // namespace

// The muscles hold the aim like a spring with a damper, as strongly as they can.
double FingerPhysics::muscle(double aim, double aimSpeed) const {
  const double force =
      model.stiffness * (aim - x_) + model.damping * (aimSpeed - v_) + model.retraction;
  return clamp(force, -model.strength, model.strength);
}

void FingerPhysics::step(double seconds, double aimCurl, double paidOut) {
  const double most = model.fastest * model.travel * seconds;
  const double aimStep = clamp(aimCurl * model.travel - aim_, -most, most);
  aim_ += aimStep;

  const double stretched = std::max(0.0, x_ - paidOut - model.slack);
  const double stretchSpeed = (stretched - stretch_) / seconds;
  stretch_ = stretched;
  tension_ = stretched > 0
                 ? std::max(0.0, model.stringStiffness * stretched + model.stringDamping * stretchSpeed)
                 : 0;

  const double sliding = std::tanh(v_ / kRestSpeed);
  double force = muscle(aim_, aimStep / seconds) - model.passiveDamping * v_;
  force -= tension_ * (1 + model.guide * sliding) + model.retraction + model.friction * sliding;
  if (x_ < 0) force -= model.endStiffness * x_ + model.damping * v_;
  if (x_ > model.travel) force -= model.endStiffness * (x_ - model.travel) + model.damping * v_;
  v_ += seconds * force / model.mass;
  x_ += seconds * v_;

  peak_ = std::max(peak_, x_);
  peakTension_ = std::max(peakTension_, tension_);
}

void FingerPhysics::markPeaks() {
  peak_ = x_;
  peakTension_ = tension_;
}
