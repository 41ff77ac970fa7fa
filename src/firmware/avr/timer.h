// Timer 1: the microsecond clock, one pulse per servo every 20 ms, and the watch over the loop.
#ifndef TAUTLINE_AVR_TIMER_H
#define TAUTLINE_AVR_TIMER_H

#include <stdint.h>

#include "../core/loop_watch.h"

namespace timer {

constexpr uint8_t kMaxServos = 5;
constexpr uint16_t kMaxPulseUs = 3000;
// How often the loop's watch ticks.
constexpr uint8_t kTickMs = 4;

// Servo `i` is on pin `pins[i]` of port B, and its string runs free at `freeUs[i]`: the pulse it starts with, and gets
// whenever the watch says that the loop hangs.
void begin(const uint8_t* pins, const uint16_t* freeUs, uint8_t count, tautline::LoopWatch& loopWatch);
// Wraps at 2^32.
uint32_t nowUs();
// From the servo's next pulse on.
void setPulse(uint8_t servo, uint16_t us);

}  // namespace timer

#endif  // TAUTLINE_AVR_TIMER_H
