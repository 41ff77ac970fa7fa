// The converter cycles through its inputs by itself, 104 us each, and keeps the newest reading of each.
#ifndef TAUTLINE_AVR_CONVERTER_H
#define TAUTLINE_AVR_CONVERTER_H

#include <stdint.h>

namespace converter {

constexpr uint8_t kBits = 10;
constexpr uint8_t kMaxInputs = 8;

// `inputs` lists the converter inputs to read, at least one; it must stay where it is.
void begin(const uint8_t* inputs, uint8_t count);
// The newest reading of inputs[index].
uint16_t reading(uint8_t index);

}  // namespace converter

#endif  // TAUTLINE_AVR_CONVERTER_H
