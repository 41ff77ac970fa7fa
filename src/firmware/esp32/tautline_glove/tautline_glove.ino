// A Tautline glove on an ESP32: potentiometers, thumbstick, buttons, and servos that stop the strings.
// What is connected where is in pins.h; what it says and does is in the core (../../core, an Arduino library).

#include <Arduino.h>

#include "loop_guard.h"
#include "pins.h"

#if GLOVE_LINK == LINK_BLE
#include "ble_link.h"
#endif

static const uint8_t CHANNELS = sizeof CHANNEL_PINS / sizeof CHANNEL_PINS[0];
static const uint8_t SERVOS = sizeof SERVO_PINS / sizeof SERVO_PINS[0];
static const uint8_t BUTTONS = sizeof BUTTON_PINS / sizeof BUTTON_PINS[0];
static const uint8_t UNCONNECTED = 255;

static_assert(CHANNELS <= kMaxChannels, "too many channels in pins.h");
static_assert(SERVOS <= kMaxActuators, "too many servos in pins.h");
static_assert(BUTTONS <= 16, "too many buttons in pins.h");
// A samples message is 12 bytes and 2 a channel, a byte on the wire takes 10 bits; a tenth is left for the rest.
static_assert(static_cast<uint32_t>(MAX_RATE_HZ) * (12 + 2 * CHANNELS) * 10 <= BAUD - BAUD / 10,
              "MAX_RATE_HZ in pins.h is more than BAUD can carry");

// 16 bits a period: 0.3 us at 50 Hz.
static const uint8_t SERVO_PWM_BITS = 16;
#if GLOVE_LINK != LINK_BLE
static const size_t TX_BUFFER = 1024;
#endif

static ChannelSpec channels[CHANNELS];
static ActuatorSpec actuators[SERVOS];
static BoardSpec board;
static Hardware hardware;

// ---- servos: the LEDC timer makes the pulses; its functions changed with version 3 of the ESP32 core ----

static void attachServo(uint8_t i) {
#if ESP_ARDUINO_VERSION_MAJOR >= 3
  ledcAttach(SERVO_PINS[i].pin, SERVO_RATE_HZ, SERVO_PWM_BITS);
#else
  ledcSetup(i, SERVO_RATE_HZ, SERVO_PWM_BITS);
  ledcAttachPin(SERVO_PINS[i].pin, i);
#endif
}

static void writeServo(uint8_t i, uint16_t us) {
  const uint32_t duty = (static_cast<uint32_t>(us) << SERVO_PWM_BITS) / (1000000UL / SERVO_RATE_HZ);
#if ESP_ARDUINO_VERSION_MAJOR >= 3
  ledcWrite(SERVO_PINS[i].pin, duty);
#else
  ledcWrite(i, duty);
#endif
}

// For the loop's guard, from another task than loop().
static void freeServos() {
  for (uint8_t i = 0; i < SERVOS; ++i) writeServo(i, actuators[i].freeUs);
}

// ---- what the core asks for ----

static uint32_t nowUs(void*) { return micros(); }

static uint16_t readChannel(void*, uint8_t i) {
  const ChannelPin& channel = CHANNEL_PINS[i];
  if (channel.mux != MUX_NONE) {
    for (uint8_t bit = 0; bit < 4; ++bit) digitalWrite(MUX_SELECT_PINS[bit], (channel.mux >> bit) & 1);
    delayMicroseconds(MUX_SETTLE_US);
  }
  uint32_t sum = 0;
  for (uint8_t n = 0; n < READINGS_PER_SAMPLE; ++n) sum += static_cast<uint32_t>(analogRead(channel.pin));
  return static_cast<uint16_t>(sum / READINGS_PER_SAMPLE);
}

static uint16_t readButtons(void*) {
  uint16_t pressed = 0;
  for (uint8_t i = 0; i < BUTTONS; ++i) {
    if (digitalRead(BUTTON_PINS[i]) == LOW) pressed = static_cast<uint16_t>(pressed | (1U << i));
  }
  return pressed;
}

// A hobby servo holds with what it has: effort only tells holding from free, which the core has settled already.
static void writeActuator(void*, uint8_t i, uint16_t stop, uint8_t) {
  writeServo(i, servoMicros(actuators[i], stop));
}

#if GLOVE_LINK == LINK_BLE
static BleLink ble;
static uint16_t txFree(void*) { return ble.room(); }
static void writeBytes(void*, const uint8_t* data, uint16_t length) { ble.write(data, length); }
#else
static uint16_t txFree(void*) { return static_cast<uint16_t>(Serial.availableForWrite()); }
static void writeBytes(void*, const uint8_t* data, uint16_t length) { Serial.write(data, length); }
#endif

static uint16_t batteryMv(void*) {
  if (BATTERY_PIN == UNCONNECTED) return 0;
  return static_cast<uint16_t>(analogReadMilliVolts(BATTERY_PIN) * BATTERY_DIVIDER_PERCENT / 100);
}

static int16_t temperature(void*) { return kTemperatureUnknown; }

// ---- start and loop ----

static void describeBoard() {
  for (uint8_t i = 0; i < CHANNELS; ++i) {
    channels[i].role = CHANNEL_PINS[i].role;
    channels[i].bits = ADC_BITS;
  }
  for (uint8_t i = 0; i < SERVOS; ++i) {
    actuators[i].role = SERVO_PINS[i].role;
    actuators[i].kind = actuator_kind::string_stop;
    actuators[i].openUs = SERVO_PINS[i].openUs;
    actuators[i].closedUs = SERVO_PINS[i].closedUs;
    actuators[i].freeUs = SERVO_PINS[i].freeUs;
  }
  const uint64_t serialNumber = ESP.getEfuseMac();
  for (uint8_t i = 0; i < 8; ++i) board.deviceId[i] = static_cast<uint8_t>(serialNumber >> (8 * i));
  board.hand = HAND;
  board.firmwareVersion = kFirmwareVersion;
  board.startRateHz = START_RATE_HZ;
  board.maxRateHz = MAX_RATE_HZ;
  board.channelCount = CHANNELS;
  board.actuatorCount = SERVOS;
  board.channels = channels;
  board.actuators = actuators;
  board.supplyLowMv = SUPPLY_LOW_MV;
  board.overTemperature = kTemperatureUnknown;

  hardware.nowUs = nowUs;
  hardware.readChannel = readChannel;
  hardware.readButtons = readButtons;
  hardware.writeActuator = writeActuator;
  hardware.txFree = txFree;
  hardware.write = writeBytes;
  hardware.batteryMv = batteryMv;
  hardware.temperature = temperature;
  hardware.loopWatch = &loopWatch;
  hardware.polled = loop_guard::polled;
}

static Glove glove(board, hardware);

void setup() {
  // Before anything else: a reset leaves the servo pins floating.
  for (uint8_t i = 0; i < SERVOS; ++i) {
    pinMode(SERVO_PINS[i].pin, OUTPUT);
    digitalWrite(SERVO_PINS[i].pin, LOW);
  }
  describeBoard();
  // Their first pulse already lets go.
  for (uint8_t i = 0; i < SERVOS; ++i) {
    attachServo(i);
    writeServo(i, actuators[i].freeUs);
  }
  analogReadResolution(ADC_BITS);
  for (uint8_t i = 0; i < BUTTONS; ++i) pinMode(BUTTON_PINS[i], INPUT_PULLUP);
  for (uint8_t i = 0; i < CHANNELS; ++i) {
    if (CHANNEL_PINS[i].mux == MUX_NONE) continue;
    for (uint8_t bit = 0; bit < 4; ++bit) pinMode(MUX_SELECT_PINS[bit], OUTPUT);
  }
#if GLOVE_LINK == LINK_BLE
  ble.begin(BLE_NAME);
#else
  Serial.setTxBufferSize(TX_BUFFER);
  Serial.begin(BAUD);
#endif
  glove.begin();
  loop_guard::begin(freeServos);
}

void loop() {
  uint16_t left = kMostBytesAPoll;
#if GLOVE_LINK == LINK_BLE
  for (uint8_t byte; left > 0 && ble.read(byte); --left) glove.receive(byte);
  glove.poll();
  ble.poll();
#else
  for (; left > 0 && Serial.available() > 0; --left) glove.receive(static_cast<uint8_t>(Serial.read()));
  glove.poll();
#endif
}
