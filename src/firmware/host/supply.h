// What feeds the servos: a source with an inner resistance, so that its voltage sags under load.
#ifndef TAUTLINE_SUPPLY_H
#define TAUTLINE_SUPPLY_H

struct Supply {
  // Four nickel cells with leads and a connector: common practice, no source.
  double openVolts = 5.0;
  double ohms = 0.15;

  double volts = 5.0;
  double amperes = 0;

  void load(double drawn) {
    amperes = drawn;
    const double left = openVolts - ohms * drawn;
    volts = left > 0 ? left : 0;
  }
};

#endif  // TAUTLINE_SUPPLY_H
