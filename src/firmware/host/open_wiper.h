// What a converter input reads once its potentiometer's wiper is off: a capacitor that is left to itself, but for the
// pull-down beside it, what leaks, and the converter, whose own small capacitor comes with the charge of the input that
// it read before.
#ifndef TAUTLINE_OPEN_WIPER_H
#define TAUTLINE_OPEN_WIPER_H

struct OpenWiper {
  double farads = 100e-9;       // from the input to ground (docs/wiring.md)
  double pullDownOhms = 0;      // 0: none
  double leakageAmperes = 0;    // out of the input, into the chip or over the board
  double railVolts = 5;
  // The ATmega328P's hold capacitor is 14 pF (its data sheet). The firmware's converter never rests: 13 cycles of 125 kHz
  // a conversion, seven inputs in turn, so each is read 1374 times a second.
  double holdFarads = 14e-12;
  double readsPerSecond = 125e3 / 13 / 7;

  // The share of the rail's voltage after `seconds`, with that of the input that is read before this one.
  double after(double seconds, double share, double neighbourShare) const;
};

#endif  // TAUTLINE_OPEN_WIPER_H
