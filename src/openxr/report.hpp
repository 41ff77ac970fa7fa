// What the service is told of the application: who it is, and what serves its hands. Written by the application's threads
// without a lock, read by the link's thread once a second.
#ifndef TAUTLINE_OPENXR_REPORT_HPP
#define TAUTLINE_OPENXR_REPORT_HPP

#include <array>
#include <atomic>
#include <cstdint>
#include <string>

#include "hand-sample.hpp"

namespace tautline::layer {

/// Who the application is; does not change while there is an instance.
struct Application {
  std::string name, runtime, runtime_version;
};

/// Whose fingers an application was shown, and what said where the wrist is.
enum class Fingers : std::uint8_t { kNobody, kRuntime, kGlove };
enum class WristBy : std::uint8_t { kNobody, kController, kCamera };

class Report {
 public:
  /// The application located a hand. No lock, no allocation; as the next two. @param age_us of the newest sample; 0: none
  void located(Side side, Fingers fingers, WristBy wrist, std::uint32_t age_us) {
    Hand& hand = hands_[side];
    hand.shown.store(static_cast<std::uint32_t>(fingers) << 8 | static_cast<std::uint32_t>(wrist),
                     std::memory_order_relaxed);
    if (age_us > 0) {
      // Of two threads that locate at once, one is not counted.
      const std::uint32_t count = hand.ages_count.load(std::memory_order_relaxed);
      hand.ages[count % kAges].store(age_us, std::memory_order_relaxed);
      hand.ages_count.store(count + 1, std::memory_order_relaxed);
    }
    hand.located.store(hand.located.load(std::memory_order_relaxed) + 1, std::memory_order_relaxed);
  }
  /// A sync took the glove's inputs into an action's state.
  void gave_inputs(Side side) {
    std::atomic<std::uint32_t>& gave = hands_[side].gave_inputs;
    gave.store(gave.load(std::memory_order_relaxed) + 1, std::memory_order_relaxed);
  }
  void focus(bool focused) { focused_.store(focused, std::memory_order_relaxed); }

  /// What does not change. By the link's thread alone, as the next.
  void introduce(const Application& application, int id);
  /// The message, as the application was served since the last call. Allocates nothing.
  const std::string& message();

 private:
  static constexpr std::uint32_t kAges = 64;
  struct Hand {
    std::atomic<std::uint32_t> located{0}, shown{0}, gave_inputs{0}, ages_count{0};
    std::array<std::atomic<std::uint32_t>, kAges> ages{};
    /// As of the last message.
    std::uint32_t told_located = 0, told_inputs = 0, told_ages = 0;
  };
  Hand hands_[kSides];
  std::atomic<bool> focused_{false};
  std::string head_, text_;
};

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_REPORT_HPP
