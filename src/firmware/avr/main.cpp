// A Tautline glove on an ATmega328P: potentiometers, thumbstick, buttons, and servos that stop the strings.
// The wiring is in pins.h, the behaviour in ../core.

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>

#include "converter.h"
#include "pins.h"
#include "timer.h"
#include "uart.h"

namespace {

const uint8_t CHANNELS = sizeof CHANNEL_PINS / sizeof CHANNEL_PINS[0];
const uint8_t SERVOS = sizeof SERVO_PINS / sizeof SERVO_PINS[0];
const uint8_t BUTTONS = sizeof BUTTON_PINS / sizeof BUTTON_PINS[0];
const uint8_t UNCONNECTED = 255;
const bool SENSES_SUPPLY = SUPPLY_INPUT != UNCONNECTED;

#ifdef TAUTLINE_UNLIMITED
const uint16_t HIGHEST_RATE_HZ = 5000;
#else
const uint16_t HIGHEST_RATE_HZ = MAX_RATE_HZ;
// A samples message is 12 bytes and 2 a channel, a byte on the wire takes 10 bits; a tenth is left for the rest.
static_assert(static_cast<uint32_t>(MAX_RATE_HZ) * (12 + 2 * CHANNELS) * 10 <= BAUD - BAUD / 10,
              "MAX_RATE_HZ in pins.h is more than BAUD can carry");
#endif
static_assert(CHANNELS + SENSES_SUPPLY <= converter::kMaxInputs, "too many channels in pins.h");
static_assert(SERVOS <= timer::kMaxServos, "too many servos in pins.h");
static_assert(BUTTONS <= 8, "too many buttons in pins.h");

// The loop goes round in 5 ms at most (measured). First the timer's interrupt lets go of the fingers, and has told every
// servo before the watchdog timer restarts the chip: 64 ms at 5 V, from an oscillator that is exact to a tenth or so.
const uint8_t HUNG_MS = 32;
const uint8_t RESTART = WDTO_60MS;
static_assert(HUNG_MS <= kLoopHungMs, "a hung loop must let go in the time that the protocol promises");

uint8_t inputs[CHANNELS + 1];
uint8_t servoPins[SERVOS];
uint16_t freeUs[SERVOS];
ChannelSpec channels[CHANNELS];
ActuatorSpec actuators[SERVOS];

uint32_t nowUs(void*) { return timer::nowUs(); }

uint16_t readChannel(void*, uint8_t i) { return converter::reading(i); }

uint16_t readButtons(void*) {
  const uint8_t levels = PIND;
  uint16_t pressed = 0;
  for (uint8_t i = 0; i < BUTTONS; ++i) {
    if ((levels & _BV(BUTTON_PINS[i])) == 0) pressed = static_cast<uint16_t>(pressed | (1U << i));
  }
  return pressed;
}

// A hobby servo always holds with full force: effort only means held or free, which the core has decided already.
void writeActuator(void*, uint8_t i, uint16_t stop, uint8_t) { timer::setPulse(i, servoMicros(actuators[i], stop)); }

uint16_t txFree(void*) { return uart::free(); }
// The core asks txFree() first, so a frame is never longer than the buffer.
void writeBytes(void*, const uint8_t* data, uint16_t length) { uart::write(data, static_cast<uint8_t>(length)); }

uint16_t supplyMv(void*) {
  if (!SENSES_SUPPLY) return 0;
  const uint32_t pinMv = static_cast<uint32_t>(converter::reading(CHANNELS)) * REFERENCE_MV >> converter::kBits;
  return static_cast<uint16_t>(pinMv * SUPPLY_DIVIDER_PERCENT / 100);
}

int16_t temperature(void*) { return kTemperatureUnknown; }

LoopWatch loopWatch(HUNG_MS / timer::kTickMs);
void polled(void*) { wdt_reset(); }

BoardSpec board;
const Hardware hardware = {nullptr,  nowUs,    readChannel, readButtons, writeActuator, txFree,
                           writeBytes, supplyMv, temperature, nullptr,     &loopWatch,    polled};
Glove glove(board, hardware);

void describeBoard() {
  for (uint8_t i = 0; i < CHANNELS; ++i) {
    inputs[i] = CHANNEL_PINS[i].input;
    channels[i].role = CHANNEL_PINS[i].role;
    channels[i].bits = converter::kBits;
  }
  inputs[CHANNELS] = SUPPLY_INPUT;
  for (uint8_t i = 0; i < SERVOS; ++i) {
    servoPins[i] = SERVO_PINS[i].pin;
    actuators[i].role = SERVO_PINS[i].role;
    actuators[i].kind = actuator_kind::string_stop;
    actuators[i].openUs = SERVO_PINS[i].openUs;
    actuators[i].closedUs = SERVO_PINS[i].closedUs;
    actuators[i].freeUs = freeUs[i] = SERVO_PINS[i].freeUs;
  }
  for (uint8_t i = 0; i < sizeof DEVICE_ID; ++i) board.deviceId[i] = DEVICE_ID[i];
  board.hand = HAND;
  board.firmwareVersion = kFirmwareVersion;
  board.startRateHz = START_RATE_HZ;
  board.maxRateHz = HIGHEST_RATE_HZ;
  board.channelCount = CHANNELS;
  board.actuatorCount = SERVOS;
  board.channels = channels;
  board.actuators = actuators;
  board.supplyLowMv = SENSES_SUPPLY ? SUPPLY_LOW_MV : 0;
  board.overTemperature = kTemperatureUnknown;
}

}  // namespace

constexpr uint8_t servoMask(uint8_t i) {
  return i == SERVOS ? 0 : static_cast<uint8_t>(_BV(SERVO_PINS[i].pin) | servoMask(static_cast<uint8_t>(i + 1)));
}
constexpr uint8_t SERVO_MASK = servoMask(0);

// Before anything else. A reset leaves the servo pins floating: hold them low. And after a restart by the watchdog timer
// that goes on running, at its shortest time, which would not let the program start.
__attribute__((naked, used, section(".init3"))) void firstOfAll() {
  PORTB = static_cast<uint8_t>(PORTB & ~SERVO_MASK);
  DDRB = static_cast<uint8_t>(DDRB | SERVO_MASK);
  MCUSR = 0;
  wdt_disable();
}

int main() {
  describeBoard();
  // Servos first: their first pulse already lets go.
  timer::begin(servoPins, freeUs, SERVOS, loopWatch);
  for (uint8_t i = 0; i < BUTTONS; ++i) PORTD = static_cast<uint8_t>(PORTD | _BV(BUTTON_PINS[i]));
  converter::begin(inputs, CHANNELS + SENSES_SUPPLY);
  uart::begin(BAUD);
  sei();
  glove.begin();
  wdt_enable(RESTART);
  for (;;) {
    for (uint8_t left = kMostBytesAPoll; left > 0; --left) {
      const int16_t byte = uart::read();
      if (byte < 0) break;
      glove.receive(static_cast<uint8_t>(byte));
    }
    glove.poll();
  }
}
