#include "converter.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

namespace converter {

namespace {

// The reference is the supply, which also feeds the potentiometers, so that its changes cancel out.
constexpr uint8_t kReference = _BV(REFS0);
// 16 MHz / 128 = 125 kHz: the data sheet asks for 50 to 200 kHz for all ten bits.
constexpr uint8_t kPrescaler = _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);

const uint8_t* inputsRead;
uint8_t inputCount;
uint8_t current = 0;
volatile uint16_t readings[kMaxInputs];

}  // namespace

void begin(const uint8_t* inputs, uint8_t count) {
  inputsRead = inputs;
  inputCount = count;
  for (uint8_t i = 0; i < count; ++i) {
    // An analog pin needs no digital input; 6 and 7 have none.
    if (inputs[i] < 6) DIDR0 = static_cast<uint8_t>(DIDR0 | _BV(inputs[i]));
  }
  // One cycle before the first reading, so that no channel starts at 0 (0.8 ms; interrupts are still off).
  ADCSRA = _BV(ADEN) | kPrescaler;
  for (uint8_t i = 0; i < count; ++i) {
    ADMUX = kReference | inputs[i];
    ADCSRA |= _BV(ADSC);
    while ((ADCSRA & _BV(ADSC)) != 0) {
    }
    readings[i] = ADC;
  }
  ADMUX = kReference | inputs[0];
  // Writing a 1 clears the flag that the last reading left.
  ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADIF) | _BV(ADSC) | kPrescaler;
}

uint16_t reading(uint8_t index) {
  uint16_t value;
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { value = readings[index]; }
  return value;
}

ISR(ADC_vect) {
  readings[current] = ADC;
  if (++current == inputCount) current = 0;
  ADMUX = static_cast<uint8_t>(kReference | inputsRead[current]);
  ADCSRA |= _BV(ADSC);
}

}  // namespace converter
