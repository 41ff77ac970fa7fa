// Timer 1: the microsecond clock, and one pulse a servo every 20 ms.
#ifndef TAUTLINE_AVR_TIMER_H
#define TAUTLINE_AVR_TIMER_H

#include <stdint.h>

namespace timer {

constexpr uint8_t kMaxServos = 5;
constexpr uint16_t kMaxPulseUs = 3000;

// Servo `i` is on pin `pins[i]` of port B. Every servo must have had its first setPulse().
void begin(const uint8_t* pins, uint8_t count);
// Wraps at 2^32.
uint32_t nowUs();
// From the servo's next pulse on.
void setPulse(uint8_t servo, uint16_t us);

}  // namespace timer

#endif  // TAUTLINE_AVR_TIMER_H
