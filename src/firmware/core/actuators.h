// What holds the fingers: the present command of each actuator, when it expires, and pulses on top of it.
#ifndef TAUTLINE_ACTUATORS_H
#define TAUTLINE_ACTUATORS_H

#include <stdint.h>

#include "hardware.h"

namespace tautline {

// A hold ends after this unless it is renewed, however long a message asks for.
constexpr uint16_t kMaxHoldMs = 1000;
constexpr uint16_t kMaxPulseMs = 1000;
// Bytes that each actuator takes in a resist message.
constexpr uint8_t kResistEntry = 3;

class Actuators {
 public:
  Actuators(const BoardSpec& spec, const Hardware& hardware);

  // Frees every actuator and writes that, whatever was written before.
  void begin();
  // Entries of {stop u16, effort u8}, one an actuator. validForMs 0 frees everything.
  void hold(uint16_t validForMs, const uint8_t* entries, uint32_t nowUs);
  // A vibration motor runs. A stop or brake that holds gets the pulse's effort meanwhile; a free one stays
  // free, because a pulse never stops a finger that nothing else stops.
  void pulse(uint8_t actuator, uint8_t amplitude, uint16_t durationMs, uint16_t frequencyHz, uint32_t nowUs);
  void release();
  // Ends what has expired and writes what changed. True when a hold was ended because it expired.
  bool update(uint32_t nowUs);

  // Something holds or pulses.
  bool active() const { return holding_ || pulsing(); }
  // The stop last written, kStopFree when free.
  uint16_t stop(uint8_t actuator) const { return written_[actuator].stop; }

 private:
  struct Command {
    uint16_t stop;
    uint8_t effort;
  };
  struct Pulse {
    bool running;
    uint8_t amplitude;
    uint32_t startUs;
    uint32_t durationUs;
    uint32_t halfPeriodUs;  // 0: on all the time
  };

  bool pulsing() const;
  Command wanted(uint8_t actuator, uint32_t nowUs) const;
  void writeChanged(uint32_t nowUs);

  const BoardSpec& spec_;
  const Hardware& hardware_;
  bool holding_;
  uint32_t holdEndsUs_;
  Command held_[kMaxActuators];
  Command written_[kMaxActuators];
  Pulse pulses_[kMaxActuators];
};

}  // namespace tautline

#endif  // TAUTLINE_ACTUATORS_H
