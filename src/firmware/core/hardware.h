// What the core needs from a board, and what a board says about itself.
#ifndef TAUTLINE_HARDWARE_H
#define TAUTLINE_HARDWARE_H

#include <stdint.h>

#include "loop_watch.h"
#include "protocol_table.h"

namespace tautline {

// A board's functions. Plain pointers, so that a board needs no classes and the core no virtual tables in RAM.
// None of them may block.
struct Hardware {
  void* context;  // handed back as the first argument of every function
  // A clock that never stops and wraps at 2^32.
  uint32_t (*nowUs)(void* context);
  // Converter counts of a channel, 0 .. 2^bits - 1.
  uint16_t (*readChannel)(void* context, uint8_t channel);
  // One bit a button, 1 pressed.
  uint16_t (*readButtons)(void* context);
  // Moves an actuator to its command. Called only when the command changes.
  // stop: 0..kStopMax is curl 0..1, kStopFree lets go. effort: 0..255 of what the board permits.
  void (*writeActuator)(void* context, uint8_t actuator, uint16_t stop, uint8_t effort);
  // Bytes that write() takes now without waiting.
  uint16_t (*txFree)(void* context);
  void (*write)(void* context, const uint8_t* data, uint16_t length);
  // Battery voltage in mV, 0 if unknown.
  uint16_t (*batteryMv)(void* context);
  // Actuator or board temperature in 0.1 degrees C, kTemperatureUnknown if unknown.
  int16_t (*temperature)(void* context);
  // Mask of (1 << fault_bit::actuator_fault) and (1 << fault_bit::converter_fault), as far as the board can
  // tell. May be null.
  uint16_t (*faults)(void* context);
  // Through this the board's timer interrupt learns whether the loop hangs. May be null.
  LoopWatch* loopWatch;
  // Called at the end of every poll(), which is where a board puts off its own watchdog timer, and nowhere else: a loop
  // that goes round without polling frees nothing that runs out. May be null.
  void (*polled)(void* context);
};

struct ChannelSpec {
  uint8_t role;  // channel_role
  uint8_t bits;  // converter bits
};

struct ActuatorSpec {
  uint8_t role;  // actuator_role
  uint8_t kind;  // actuator_kind
  // String stops only: servo pulse that stops the string at curl 0, at curl 1, and that lets it run free.
  uint16_t openUs;
  uint16_t closedUs;
  uint16_t freeUs;
};

struct BoardSpec {
  uint8_t hand;  // hand::left or hand::right
  uint8_t deviceId[8];
  uint16_t firmwareVersion;  // major * 256 + minor
  uint16_t startRateHz;
  uint16_t maxRateHz;
  uint8_t channelCount;   // at most kMaxChannels
  uint8_t actuatorCount;  // at most kMaxActuators
  const ChannelSpec* channels;
  const ActuatorSpec* actuators;
  uint16_t supplyLowMv;     // below this the supply is reported low; 0: never
  int16_t overTemperature;  // at this, in 0.1 degrees C, everything is let go; kTemperatureUnknown: never
};

// Servo pulse for a stop. Always between the three pulses of the spec.
uint16_t servoMicros(const ActuatorSpec& spec, uint16_t stop);

}  // namespace tautline

#endif  // TAUTLINE_HARDWARE_H
