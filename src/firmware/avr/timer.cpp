#include "timer.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

namespace timer {

namespace {

static_assert(F_CPU == 16000000UL, "the timer is set for 16 MHz");
constexpr uint8_t kPrescaler = _BV(CS11);  // 8
constexpr uint16_t kTicksPerUs = 2;
// The servos take turns: five turns of 4 ms are the 20 ms that hobby servos expect (common practice).
constexpr uint16_t kTurnTicks = 1000 * kTickMs * kTicksPerUs;
static_assert((kMaxPulseUs + 500) * kTicksPerUs < kTurnTicks, "a pulse must end well before the next turn");
// Waits for the end of a pulse, so that another interrupt under way does not lengthen it.
constexpr uint16_t kLeadTicks = 16 * kTicksPerUs;

volatile uint32_t overflows = 0;

uint8_t servoCount = 0;
uint8_t masks[kMaxServos];
uint16_t freeWidths[kMaxServos];       // ticks
volatile uint16_t widths[kMaxServos];  // ticks
tautline::LoopWatch* watch;

// Of the interrupt alone.
uint8_t turn = 0;
uint16_t turnAt = 0;
uint16_t startedAt = 0;
uint16_t width = 0;
bool high = false;

uint16_t ticksOf(uint16_t us) { return static_cast<uint16_t>((us > kMaxPulseUs ? kMaxPulseUs : us) * kTicksPerUs); }

}  // namespace

void begin(const uint8_t* pins, const uint16_t* freeUs, uint8_t count, tautline::LoopWatch& loopWatch) {
  servoCount = count;
  watch = &loopWatch;
  for (uint8_t i = 0; i < count; ++i) {
    freeWidths[i] = widths[i] = ticksOf(freeUs[i]);
    masks[i] = static_cast<uint8_t>(_BV(pins[i]));
    PORTB = static_cast<uint8_t>(PORTB & ~masks[i]);
    DDRB |= masks[i];
  }
  TCCR1A = 0;
  TCNT1 = 0;
  turnAt = kTurnTicks;
  OCR1A = turnAt;
  TIFR1 = _BV(OCF1A) | _BV(TOV1);
  TIMSK1 = _BV(OCIE1A) | _BV(TOIE1);
  TCCR1B = kPrescaler;
}

uint32_t nowUs() {
  uint32_t high16;
  uint16_t low;
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
    high16 = overflows;
    low = TCNT1;
    // It has just wrapped, and the interrupt that counts that is still pending.
    if ((TIFR1 & _BV(TOV1)) != 0 && low < 0x8000) ++high16;
  }
  return (high16 << 15) | (low / kTicksPerUs);
}

void setPulse(uint8_t servo, uint16_t us) {
  const uint16_t ticks = ticksOf(us);
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { widths[servo] = ticks; }
}

ISR(TIMER1_OVF_vect) { ++overflows; }

// Twice a turn: the pulse begins, the pulse ends. While the loop hangs every pulse lets go, whatever was set: no pulse at
// all would leave a servo that keeps its last place where it is.
ISR(TIMER1_COMPA_vect) {
  if (high) {
    while (static_cast<uint16_t>(TCNT1 - startedAt) < width) {
    }
    PORTB = static_cast<uint8_t>(PORTB & ~masks[turn]);
    high = false;
  } else {
    const bool hung = watch->tick();
    if (turn < servoCount) {
      width = hung ? freeWidths[turn] : widths[turn];
      PORTB |= masks[turn];
      startedAt = TCNT1;
      high = true;
      OCR1A = static_cast<uint16_t>(startedAt + width - kLeadTicks);
      return;
    }
  }
  if (++turn == kMaxServos) turn = 0;
  turnAt = static_cast<uint16_t>(turnAt + kTurnTicks);
  OCR1A = turnAt;
}

}  // namespace timer
