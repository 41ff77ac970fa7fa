// Just enough of the Arduino and ESP32 interfaces to compile the sketch without a tool chain, and to run it on the
// stand-in for a board in board.cpp. Declarations follow the public Arduino reference and the headers of the ESP32 core's
// two generations (from memory): what one of them does not have is not declared, so that a wrong call fails to compile.
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
// The generation that is declared here; a test has the sketch take the other one.
#ifndef SHIM_GENERATION
#define SHIM_GENERATION ESP_ARDUINO_VERSION_MAJOR
#endif

#define IRAM_ATTR __attribute__((section(".iram1")))

unsigned long micros();
unsigned long millis();
void delayMicroseconds(uint32_t us);
void pinMode(uint8_t pin, uint8_t mode);
int digitalRead(uint8_t pin);
void digitalWrite(uint8_t pin, uint8_t value);
uint16_t analogRead(uint8_t pin);
uint32_t analogReadMilliVolts(uint8_t pin);
void analogReadResolution(uint8_t bits);

struct hw_timer_s;
typedef struct hw_timer_s hw_timer_t;

#if SHIM_GENERATION >= 3
hw_timer_t* timerBegin(uint32_t frequency);
void timerAttachInterrupt(hw_timer_t* timer, void (*userFunc)(void));
void timerAlarm(hw_timer_t* timer, uint64_t alarm_value, bool autoreload, uint64_t reload_count);

bool ledcAttach(uint8_t pin, uint32_t frequency, uint8_t resolution);
bool ledcWrite(uint8_t pin, uint32_t duty);
#else
hw_timer_t* timerBegin(uint8_t num, uint16_t divider, bool countUp);
void timerAttachInterrupt(hw_timer_t* timer, void (*fn)(void), bool edge);
void timerAlarmWrite(hw_timer_t* timer, uint64_t alarm_value, bool autoreload);
void timerAlarmEnable(hw_timer_t* timer);

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
  void restart();
};
extern EspClass ESP;

void setup();
void loop();

#endif  // ARDUINO_SHIM_H
