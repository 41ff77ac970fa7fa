// Just enough of the Arduino and ESP32 interfaces to check the sketch's syntax and types without a tool chain.
// Declarations follow the public Arduino reference and the ESP32 core's headers (from memory).
#ifndef ARDUINO_SHIM_H
#define ARDUINO_SHIM_H

#include <stddef.h>
#include <stdint.h>

#define LOW 0x0
#define HIGH 0x1
#define INPUT 0x01
#define OUTPUT 0x03
#define INPUT_PULLUP 0x05

#ifndef ESP_ARDUINO_VERSION_MAJOR
#define ESP_ARDUINO_VERSION_MAJOR 3
#endif

unsigned long micros();
unsigned long millis();
void delayMicroseconds(uint32_t us);
void pinMode(uint8_t pin, uint8_t mode);
int digitalRead(uint8_t pin);
void digitalWrite(uint8_t pin, uint8_t value);
uint16_t analogRead(uint8_t pin);
uint32_t analogReadMilliVolts(uint8_t pin);
void analogReadResolution(uint8_t bits);

#if ESP_ARDUINO_VERSION_MAJOR >= 3
bool ledcAttach(uint8_t pin, uint32_t frequency, uint8_t resolution);
bool ledcWrite(uint8_t pin, uint32_t duty);
#else
double ledcSetup(uint8_t channel, double frequency, uint8_t resolution);
void ledcAttachPin(uint8_t pin, uint8_t channel);
void ledcWrite(uint8_t channel, uint32_t duty);
#endif

class HardwareSerial {
 public:
  void begin(unsigned long baud);
  size_t setTxBufferSize(size_t size);
  int available();
  int read();
  int availableForWrite();
  size_t write(const uint8_t* data, size_t length);
};
extern HardwareSerial Serial;

class EspClass {
 public:
  uint64_t getEfuseMac();
};
extern EspClass ESP;

void enableLoopWDT();

void setup();
void loop();

#endif  // ARDUINO_SHIM_H
