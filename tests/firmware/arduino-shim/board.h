// A stand-in for an ESP32 board, on which the sketch runs: time that is moved by hand, pins, pulses that go on by
// themselves, a hardware timer whose interrupt comes whatever the sketch does, and tasks.
#ifndef STAND_IN_BOARD_H
#define STAND_IN_BOARD_H

#include <condition_variable>
#include <cstdint>
#include <map>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

struct hw_timer_s {
  uint64_t everyUs = 0;
  uint64_t nextUs = UINT64_MAX;
  void (*interrupt)() = nullptr;
};

// A pin whose pulses the LEDC makes. A new width counts from the next period on, as in the chip.
struct PulsePin {
  uint32_t duty = 0;
  uint32_t widthUs = 0;
  uint64_t periodUs = 0;
  uint64_t startUs = 0;  // of the period under way
  bool high = false;
  bool attached = false;
};

// Runs in a thread of its own, but only while everything else waits for it.
struct tskTaskControlBlock {
  std::thread thread;
  unsigned notifications = 0;
  bool waiting = false;
};

struct Board {
  uint64_t nowUs = 0;
  std::map<uint8_t, PulsePin> pulses;
  std::map<uint8_t, uint8_t> pinOfChannel;
  std::map<uint8_t, bool> levels;
  std::vector<hw_timer_s*> timers;
  bool scheduling = true;
  tskTaskControlBlock* woken = nullptr;  // by the interrupt
  bool watchdogStarted = true;  // by the core, before setup()
  uint64_t watchdogResets = 0;
  uint64_t setupUs = 0;         // the link takes so long to be set up
  uint64_t blockUs = 0;         // the next write takes so long
  uint64_t floodUntilUs = 0;    // bytes never end until then
  std::vector<uint8_t> received;

  // Interrupts and pulses go on meanwhile.
  void pass(uint64_t us);
  void event(const char* format, ...) __attribute__((format(printf, 2, 3)));
  void written(const uint8_t* data, size_t length);
  void attach(uint8_t pin, double frequencyHz, uint8_t bits);
  void setDuty(uint8_t pin, uint32_t duty);
  void cut(uint8_t pin);
  void runTask(tskTaskControlBlock* task);

  std::mutex mutex;
  std::condition_variable changed;

 private:
  void edge(uint8_t number, PulsePin& pin);
};

extern Board board;

// What came from the host; how depends on the link.
void receiveFromHost(const std::vector<uint8_t>& bytes);
void connectHost();

#endif  // STAND_IN_BOARD_H
