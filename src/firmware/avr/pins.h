// Your glove: change this file, and nothing else.
//
// As it stands: an ATmega328P at 16 MHz and 5 V, right hand, five potentiometers that measure curl, a thumbstick,
// three buttons and five hobby servos. In brackets: what the usual boards print beside the pin.
#ifndef PINS_H
#define PINS_H

#include "../core/glove.h"

using namespace tautline;

// ---- the board ----

const uint8_t HAND = hand::right;
// This controller has no serial number to read: give every glove one of its own.
const uint8_t DEVICE_ID[8] = {0x54, 0x4c, 0x41, 0x56, 0x52, 0x00, 0x00, 0x01};
const uint32_t BAUD = 115200;  // on PD0 [RX0] and PD1 [TX1]; 250000 and 500000 come out exact
const uint16_t START_RATE_HZ = 200;
const uint16_t MAX_RATE_HZ = 390;

// ---- channels: what is sensed, and at which converter input (0..7 [A0..A7]) ----

// Each input with 100 nF and 1 MOhm to ground: without the resistor a broken wiper goes unnoticed (docs/wiring.md).

// The chip with 28 pins in two rows has no inputs 6 and 7.
struct ChannelPin {
  uint8_t role;
  uint8_t input;
};
const ChannelPin CHANNEL_PINS[] = {
    {channel_role::thumb_curl, 0},
    {channel_role::index_curl, 1},
    {channel_role::middle_curl, 2},
    {channel_role::ring_curl, 3},
    {channel_role::little_curl, 4},
    {channel_role::stick_x, 6},
    {channel_role::stick_y, 7},
};

// ---- buttons: from a pin of port D to ground, pull-ups are switched on; bit n of the message is entry n ----

const uint8_t BUTTON_PINS[] = {2, 4, 5};  // PD2 [2], PD4 [4], PD5 [5]

// ---- servos, each on a pin of port B: 0..5 [8..13] ----

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
constexpr ServoPin SERVO_PINS[] = {
    {actuator_role::thumb, 0, 2000, 1100, 900},
    {actuator_role::index, 1, 2000, 1100, 900},
    {actuator_role::middle, 2, 2000, 1100, 900},
    {actuator_role::ring, 3, 2000, 1100, 900},
    {actuator_role::little, 4, 2000, 1100, 900},
};

// ---- supply ----

// Servo or battery voltage through a divider (R1 to the battery, R2 to ground) at this converter input: 255 if
// not connected.
const uint8_t SUPPLY_INPUT = 255;
const uint16_t SUPPLY_DIVIDER_PERCENT = 200;  // (R1 + R2) / R2, times 100
const uint16_t SUPPLY_LOW_MV = 4500;          // 0: never reported
const uint16_t REFERENCE_MV = 5000;           // the board's own supply, which is what the converter compares with

#endif  // PINS_H
