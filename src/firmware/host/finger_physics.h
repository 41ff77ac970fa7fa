// A finger with muscles, and the string on its back that runs to a servo's spool. Lengths are metres of string:
// the string moves by `travel` from the open to the closed finger, evenly with curl.
#ifndef TAUTLINE_FINGER_PHYSICS_H
#define TAUTLINE_FINGER_PHYSICS_H

struct FingerModel {
  // Heights of 12, 9 and 7 mm over the joints, 90, 100 and 67 degrees: 42.7 mm (Landsmeer's first model).
  double travel = 0.0427;
  // 40 g, 90 mm long, all joints closing together: some 2.7e-4 kg m2, seen from the string.
  double mass = 0.15;
  // A finger holds its place with some 400 N/m at its tip (Hajian & Howe 1997, from memory); the tip goes three
  // times as far as the string. Critically damped.
  double stiffness = 3600;       // N/m
  double damping = 46;           // N s/m
  double passiveDamping = 3;     // N s/m, joints and skin
  // Fastest that the muscles move their aim, curl/s.
  double fastest = 10;
  // Most that the muscles pull with at the string, N: 5 N are 1.7 N at the pad, a light hold.
  double strength = 5;
  double endStiffness = 20000;   // N/m, where the joints end
  // The string, thimble and fabric included: 14 N/mm of braided line in series with 8 N/mm. Common practice.
  double stringStiffness = 5000; // N/m
  double stringDamping = 2;      // N s/m
  double slack = 0;              // m of loose string
  double retraction = 0.5;       // N, the spring of the spool
  double friction = 0.2;         // N, of the string in its guide
  double guide = 0.1;            // part of the tension that the guide's friction adds or takes away
};

class FingerPhysics {
 public:
  // `aim` is the curl that the muscles want; `paidOut` metres of string are out.
  void step(double seconds, double aim, double paidOut);

  double curl() const { return x_ / model.travel; }
  double curlSpeed() const { return v_ / model.travel; }
  // What a potentiometer on the spool sees: the finger, less what the string has stretched.
  double sensedCurl() const { return (x_ - stretch_) / model.travel; }
  // Of the string at the servo, N; the retraction spring not counted.
  double tension() const { return tension_; }
  double position() const { return x_; }

  // Greatest since markPeaks().
  double peakCurl() const { return peak_ / model.travel; }
  double peakTension() const { return peakTension_; }
  void markPeaks();

  FingerModel model;

 private:
  double muscle(double aim, double aimSpeed) const;

  double aim_ = 0;
  double x_ = 0;
  double v_ = 0;
  double stretch_ = 0;
  double tension_ = 0;
  double peak_ = 0;
  double peakTension_ = 0;
};

#endif  // TAUTLINE_FINGER_PHYSICS_H
