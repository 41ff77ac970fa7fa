// Your glove: change this file, and nothing else.
//
// As it stands: an ESP32 development board, right hand, five potentiometers that measure curl, a thumbstick,
// three buttons and five hobby servos. Nothing on the strapping pins (0, 2, 5, 12, 15).
#ifndef PINS_H
#define PINS_H

#include <glove.h>

using namespace tautline;

// ---- the board ----

const uint8_t HAND = hand::right;
// How the glove reaches the host: LINK_SERIAL (USB) or LINK_BLE (Bluetooth LE; see docs/bluetooth.md).
#define LINK_SERIAL 1
#define LINK_BLE 2
#ifndef GLOVE_LINK
#define GLOVE_LINK LINK_SERIAL
#endif
// `Tautline right` and `Tautline left` are what the service looks for if the profile names no other.
#define BLE_NAME "Tautline right"
const uint32_t BAUD = 115200;
const uint16_t START_RATE_HZ = 200;
const uint16_t MAX_RATE_HZ = 300;
const uint8_t ADC_BITS = 12;
// Readings averaged into one: the converter of the ESP32 is noisy.
const uint8_t READINGS_PER_SAMPLE = 4;

// ---- channels: what is sensed, and on which pin ----

// Each input with 100 nF and 1 MOhm to ground: without the resistor a broken wiper goes unnoticed (docs/wiring.md).

// MUX_NONE: the pin itself. Otherwise the input (0..15) of an analog multiplexer whose output is at that pin.
const uint8_t MUX_NONE = 255;
struct ChannelPin {
  uint8_t role;
  uint8_t pin;
  uint8_t mux;
};
const ChannelPin CHANNEL_PINS[] = {
    {channel_role::thumb_curl, 32, MUX_NONE},
    {channel_role::index_curl, 33, MUX_NONE},
    {channel_role::middle_curl, 34, MUX_NONE},
    {channel_role::ring_curl, 35, MUX_NONE},
    {channel_role::little_curl, 36, MUX_NONE},
    {channel_role::stick_x, 39, MUX_NONE},
    {channel_role::stick_y, 27, MUX_NONE},  // second converter: free as long as Wi-Fi is off, as it is here
};
// Select lines of the multiplexer, lowest bit first; used only if a channel above names an input of it.
const uint8_t MUX_SELECT_PINS[4] = {16, 17, 19, 26};
const uint8_t MUX_SETTLE_US = 5;

// ---- buttons: from the pin to ground, pull-ups are switched on; bit n of the message is entry n ----

const uint8_t BUTTON_PINS[] = {4, 13, 14};

// ---- servos ----

// Pulses in microseconds. Find them with the glove OFF the hand:
//   open    the string is stopped with the finger straight
//   closed  the string is stopped with the finger fully bent
//   free    the string runs over its whole length without touching the stop; beyond `closed`
// A servo is never sent anywhere that is not between these.
struct ServoPin {
  uint8_t role;
  uint8_t pin;
  uint16_t openUs;
  uint16_t closedUs;
  uint16_t freeUs;
};
const ServoPin SERVO_PINS[] = {
    {actuator_role::thumb, 18, 2000, 1100, 900},
    {actuator_role::index, 21, 2000, 1100, 900},
    {actuator_role::middle, 22, 2000, 1100, 900},
    {actuator_role::ring, 23, 2000, 1100, 900},
    {actuator_role::little, 25, 2000, 1100, 900},
};
const uint16_t SERVO_RATE_HZ = 50;

// ---- supply ----

// Battery through a divider (R1 to the battery, R2 to ground): 255 if not connected.
const uint8_t BATTERY_PIN = 255;
const uint16_t BATTERY_DIVIDER_PERCENT = 200;  // (R1 + R2) / R2, times 100
const uint16_t SUPPLY_LOW_MV = 3300;           // one lithium cell; 0: never reported

#endif  // PINS_H
