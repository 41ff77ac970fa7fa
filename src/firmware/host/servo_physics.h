// A 9 g hobby servo with a spool on its shaft: takes its pulse at 50 Hz, turns at a finite speed, gives way at a
// finite torque, gets warm. Angle 0 stops the string at an open finger; a greater angle pays string out.
#ifndef TAUTLINE_SERVO_PHYSICS_H
#define TAUTLINE_SERVO_PHYSICS_H

// Common practice for servos of this size at 4.8 V, no source, unless a line says otherwise.
struct ServoModel {
  double ratedVolts = 4.8;
  double stallTorque = 0.15;    // N m
  double stallAmperes = 0.7;
  double idleAmperes = 0.006;
  double freeSpeed = 8.727;     // rad/s: 60 degrees in 0.12 s
  double inertia = 2e-4;        // kg m2: rotor and gears, seen from the shaft; full speed after some 30 ms
  double friction = 0.015;      // N m, in the gears
  double deadBand = 0.008;      // rad: 5 us of pulse
  double fullDriveAt = 0.07;    // rad of error at which the motor is driven fully
  double radiansPerUs = 1.5707963267948966e-3;  // 180 degrees in 2000 us
  double pulseSeconds = 0.020;
  double spoolRadius = 0.017;   // m: all of a finger's string within the servo's travel
  double kelvinPerWatt = 25;
  double thermalSeconds = 30;
  double ambient = 25;          // degrees C

  double motorOhms() const { return ratedVolts / stallAmperes; }
};

class ServoPhysics {
 public:
  // Where the next pulse sends it, and the share of its torque that it may use.
  void command(double angle, double share) {
    commandedAngle_ = angle;
    commandedShare_ = share;
  }
  // Its horn is turned round: what was near is far.
  void mirror(double about) { commandedAngle_ = about - commandedAngle_; }
  // Puts it there at rest.
  void place(double angle);
  // Seconds until the first pulse: servos of a hand are not in step.
  void firstPulseIn(double seconds) { untilPulse_ = seconds; }
  // `tension` of the string, N, turns the spool towards a greater angle.
  void step(double seconds, double tension, double volts);

  double angle() const { return angle_; }
  double speed() const { return speed_; }
  double amperes() const { return amperes_; }
  double temperature() const { return temperature_; }
  double target() const { return target_; }
  // String that it has paid out, m.
  double paidOut() const { return angle_ * model.spoolRadius; }
  // How often it has turned round: counted when it has gone back by more than half a dead band.
  unsigned reversals() const { return reversals_; }

  ServoModel model;

 private:
  double motorTorque(double volts) const;
  void countReversal();

  double commandedAngle_ = 0;
  double commandedShare_ = 1;
  double target_ = 0;
  double share_ = 1;
  double untilPulse_ = 0;
  double angle_ = 0;
  double speed_ = 0;
  double amperes_ = 0;
  double temperature_ = 25;
  double turningPoint_ = 0;
  int direction_ = 0;
  unsigned reversals_ = 0;
};

#endif  // TAUTLINE_SERVO_PHYSICS_H
