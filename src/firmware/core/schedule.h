// When the next sample is due.
#ifndef TAUTLINE_SCHEDULE_H
#define TAUTLINE_SCHEDULE_H

#include <stdint.h>

namespace tautline {

// True when `nowUs` is at or after `dueUs`, also across the wrap of a 32-bit microsecond clock
// (71.6 min), as long as the two are less than half a wrap apart.
inline bool reached(uint32_t nowUs, uint32_t dueUs) { return static_cast<int32_t>(nowUs - dueUs) >= 0; }

// A grid of sample times. Rates that do not divide a second keep their average exactly: the remainder is
// carried along, so there is no drift against the clock.
class SampleSchedule {
 public:
  void start(uint16_t rateHz, uint32_t nowUs) {
    rateHz_ = rateHz == 0 ? static_cast<uint16_t>(1) : rateHz;
    periodUs_ = 1000000UL / rateHz_;
    remainder_ = 1000000UL % rateHz_;
    carry_ = 0;
    dueUs_ = nowUs;
  }

  // If a sample is due, advances to the next point of the grid and returns how many points
  // were used up: 1 in time, more when points were missed. 0 when nothing is due.
  uint16_t take(uint32_t nowUs) {
    uint16_t points = 0;
    while (reached(nowUs, dueUs_)) {
      const uint32_t lateUs = nowUs - dueUs_;
      if (lateUs > kRestartUs) {
        // Far behind: counting point by point would take too long for a small controller.
        const uint32_t skipped = lateUs / periodUs_;
        points = skipped > 0xfffeUL ? static_cast<uint16_t>(0xffff) : static_cast<uint16_t>(skipped + 1);
        dueUs_ = nowUs + periodUs_;
        carry_ = 0;
        break;
      }
      step();
      ++points;
    }
    return points;
  }

  uint16_t rateHz() const { return rateHz_; }

  uint32_t untilNextUs(uint32_t nowUs) const { return reached(nowUs, dueUs_) ? 0 : dueUs_ - nowUs; }

 private:
  static const uint32_t kRestartUs = 500000UL;

  void step() {
    dueUs_ += periodUs_;
    carry_ += remainder_;
    if (carry_ >= rateHz_) {
      carry_ -= rateHz_;
      ++dueUs_;
    }
  }

  uint32_t dueUs_;
  uint32_t periodUs_;
  uint16_t rateHz_;
  uint32_t remainder_;
  uint32_t carry_;
};

}  // namespace tautline

#endif  // TAUTLINE_SCHEDULE_H
