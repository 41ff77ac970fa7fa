#include "uart.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

namespace uart {

namespace {

// Powers of two. In: twice the longest message that is for a glove of five servos (23 bytes), with room to spare.
// Out: a hello (46 bytes) and two samples.
constexpr uint8_t kIn = 64;
constexpr uint8_t kOut = 128;

volatile uint8_t in[kIn];
volatile uint8_t inHead = 0;
volatile uint8_t inTail = 0;
volatile uint8_t out[kOut];
volatile uint8_t outHead = 0;
volatile uint8_t outTail = 0;

}  // namespace

void begin(uint32_t baud) {
  // Double speed: 115200 is then 2.1 % off at 16 MHz, otherwise 3.5 %.
  UCSR0A = _BV(U2X0);
  UBRR0 = static_cast<uint16_t>((F_CPU / 4 / baud - 1) / 2);
  UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
  UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

int16_t read() {
  const uint8_t tail = inTail;
  if (tail == inHead) return -1;
  const uint8_t byte = in[tail];
  inTail = (tail + 1) & (kIn - 1);
  return byte;
}

uint8_t free() { return static_cast<uint8_t>(outTail - outHead - 1) & (kOut - 1); }

void write(const uint8_t* data, uint8_t length) {
  uint8_t head = outHead;
  for (uint8_t i = 0; i < length; ++i) {
    out[head] = data[i];
    head = (head + 1) & (kOut - 1);
  }
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
    outHead = head;
    UCSR0B |= _BV(UDRIE0);
  }
}

// A full buffer loses the byte; the frame's CRC shows it.
ISR(USART_RX_vect) {
  const uint8_t byte = UDR0;
  const uint8_t head = inHead;
  const uint8_t next = (head + 1) & (kIn - 1);
  if (next == inTail) return;
  in[head] = byte;
  inHead = next;
}

ISR(USART_UDRE_vect) {
  const uint8_t tail = outTail;
  UDR0 = out[tail];
  const uint8_t next = (tail + 1) & (kOut - 1);
  outTail = next;
  if (next == outHead) UCSR0B = static_cast<uint8_t>(UCSR0B & ~_BV(UDRIE0));
}

}  // namespace uart
