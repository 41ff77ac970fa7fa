// The serial port: bytes in and out through ring buffers, moved by interrupts.
#ifndef TAUTLINE_AVR_UART_H
#define TAUTLINE_AVR_UART_H

#include <stdint.h>

namespace uart {

void begin(uint32_t baud);
// The next byte that came in, or -1.
int16_t read();
uint8_t free();
// Takes at most free() bytes.
void write(const uint8_t* data, uint8_t length);

}  // namespace uart

#endif  // TAUTLINE_AVR_UART_H
