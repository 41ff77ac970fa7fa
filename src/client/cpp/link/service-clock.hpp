// The service's clock as this program sees it, from answered pings: as in RFC 5905 (NTP) the offset is taken at the
// middle of the round trip, its error is at most half of it, and of several measurements the one with the least error
// is believed. The same rules as src/client/service-clock.ts.
#ifndef TAUTLINE_LINK_SERVICE_CLOCK_HPP
#define TAUTLINE_LINK_SERVICE_CLOCK_HPP

#include <cmath>

namespace tautline::link {

class ServiceClock {
 public:
  bool known() const { return count_ > 0; }

  /// Service's µs less local µs.
  double offset_us() const { return offset_us_; }

  void reset() { count_ = 0; }

  /// Takes one answered ping: local time of sending and of receiving, and the service's time between them, µs.
  void add(double sent_us, double received_us, double service_us) {
    if (!(received_us >= sent_us)) return;
    const Sample newest{received_us, service_us - (sent_us + received_us) / 2, (received_us - sent_us) / 2};
    if (count_ == kKept) {
      for (int i = 1; i < kKept; i++) samples_[i - 1] = samples_[i];
      count_--;
    }
    samples_[count_++] = newest;
    double best = newest.offset_us, error = newest.half_us;
    for (int i = 0; i < count_; i++) {
      const double age_error = samples_[i].half_us + (received_us - samples_[i].at_us) / 1e6 * kDriftUsPerS;
      if (age_error >= error) continue;
      error = age_error;
      best = samples_[i].offset_us;
    }
    // One of the two is wrong, so a clock was set or stopped in between: only the newest counts.
    if (std::fabs(newest.offset_us - best) > newest.half_us + error) {
      samples_[0] = newest;
      count_ = 1;
      best = newest.offset_us;
    }
    offset_us_ = best;
  }

 private:
  static constexpr int kKept = 8;
  /// How fast two quartz clocks drift apart at most, as RFC 5905 assumes (PHI).
  static constexpr double kDriftUsPerS = 15;
  struct Sample {
    double at_us, offset_us, half_us;
  };
  Sample samples_[kKept] = {};
  int count_ = 0;
  double offset_us_ = 0;
};

}  // namespace tautline::link

#endif  // TAUTLINE_LINK_SERVICE_CLOCK_HPP
