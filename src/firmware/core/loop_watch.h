// Has the loop run lately? The loop reports that it has, an interrupt checks.
//
//   loop          Glove::poll() ── seen()             the count starts again
//   interrupt     tick() ── counts; true at the limit, and from then on: the board lets go, whatever the loop wrote
//   loop, back    Glove::poll() ── hung(): the core frees everything, too ── resume()
//   start         as after a hang, until the first poll()
// A board generates its servo pulses without the loop, so a hung loop would otherwise hold the fingers forever.
#ifndef TAUTLINE_LOOP_WATCH_H
#define TAUTLINE_LOOP_WATCH_H

#include <stdint.h>

namespace tautline {

// Single bytes, each written in one instruction: neither side needs to lock the other out. If an interrupt on another
// core counts just while the loop is seen, that one sight is lost; the next is a fraction of a tick away.
class LoopWatch {
 public:
  // Hung after this many whole ticks in which the loop was not seen; the partial tick before them does not count.
  // A loop that has never been seen counts as hung: a program that starts and never polls must not hold anything.
  explicit LoopWatch(uint8_t limitTicks) : limitTicks_(limitTicks), silentTicks_(0), hung_(true) {}

  // Of the interrupt. True: let go. Always inlined, for boards whose interrupts must not run from flash.
  __attribute__((always_inline)) inline bool tick() {
    const uint8_t silent = silentTicks_;
    if (silent < limitTicks_) {
      silentTicks_ = static_cast<uint8_t>(silent + 1);
    } else {
      hung_ = true;
    }
    return hung_;
  }

  // Of the loop. Seeing the loop does not undo that it hung: the core must free everything first.
  void seen() { silentTicks_ = 0; }
  bool hung() const { return hung_; }
  void resume() {
    silentTicks_ = 0;
    hung_ = false;
  }

 private:
  const uint8_t limitTicks_;
  volatile uint8_t silentTicks_;
  volatile bool hung_;
};

}  // namespace tautline

#endif  // TAUTLINE_LOOP_WATCH_H
