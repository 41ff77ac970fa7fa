// The glove: reads its channels at a steady rate, reports its state, and does what the host asks.
//
//   bytes in -> FrameReader -> handle() -> Actuators -> Hardware.writeActuator
//   Hardware.readChannel -> SampleSchedule -> FrameWriter -> bytes out
//
// A sketch calls begin() once, receive() for every byte that came, and poll() as often as it can.
#ifndef TAUTLINE_GLOVE_H
#define TAUTLINE_GLOVE_H

#include <stdint.h>

#include "actuators.h"
#include "frames.h"
#include "hardware.h"
#include "schedule.h"

namespace tautline {

// Most bytes that a sketch passes to receive() between two poll()s: a flood must not keep the core from checking the
// time.
constexpr uint16_t kMostBytesAPoll = 128;

class Glove {
 public:
  // Both must outlive the glove.
  Glove(const BoardSpec& spec, const Hardware& hardware);

  // Frees every actuator, then says hello. With a LoopWatch nothing is held before the first poll().
  void begin();
  // One byte from the host. While the loop counts as hung (LoopWatch), it is ignored.
  void receive(uint8_t byte);
  // Watchdog, actuators, replies, state and samples: whatever is due.
  void poll();
  // Sends text to the host's log (UTF-8, cut to the longest payload at a character's edge).
  // False if there was no room for it.
  bool note(const char* text);

  // Longest time until poll() has something to sample.
  uint32_t untilNextSampleUs() const { return schedule_.untilNextUs(hardware_.nowUs(hardware_.context)); }
  uint16_t rateHz() const { return schedule_.rateHz(); }

  const LinkCounters& linkCounters() const { return reader_.counters(); }
  uint16_t unknownTypes() const { return unknownTypes_; }
  uint16_t badLengths() const { return badLengths_; }
  uint16_t framesDropped() const { return framesDropped_; }
  uint16_t watchdogTrips() const { return watchdogTrips_; }
  uint16_t faults() const { return faults_; }
  const Actuators& actuators() const { return actuators_; }

 private:
  bool hung() const { return hardware_.loopWatch != nullptr && hardware_.loopWatch->hung(); }
  void freeAfterHang();
  void handle(uint32_t nowUs);
  bool understood(uint32_t nowUs);
  void watch(uint32_t nowUs);
  void trip();
  void checkBoard(uint32_t nowUs);
  void setFault(uint8_t bit, bool on);
  bool has(uint8_t bit) const { return (faults_ & (1U << bit)) != 0; }

  void reply();
  void sample(uint32_t nowUs);
  void sampleDue(uint32_t nowUs);
  bool sendHello();
  bool sendState();
  bool sendPong();
  bool room(uint16_t bodyLength) const;
  void begin(uint8_t type);
  void send();

  const BoardSpec& spec_;
  const Hardware& hardware_;
  Actuators actuators_;
  SampleSchedule schedule_;
  uint32_t lastValidUs_;
  uint32_t nextStateUs_;
  uint32_t nextCheckUs_;
  uint32_t pongToken_;
  uint16_t faults_;
  uint16_t framesDropped_;
  uint16_t watchdogTrips_;
  uint16_t unknownTypes_;
  uint16_t badLengths_;
  uint8_t sampleSeq_;
  uint8_t otherSeq_;
  bool helloPending_;
  bool statePending_;
  bool pongPending_;
  FrameReader reader_;
  FrameWriter writer_;
};

}  // namespace tautline

#endif  // TAUTLINE_GLOVE_H
