// The newest samples of a hand, written by one thread and read by any number without a lock: a ring of slots, each a
// seqlock (Boehm, "Can seqlocks get along with programming language memory models?", MSPC 2012). A reader that was
// overtaken notices and looks again. Every word is atomic, so that no read is a race.
#ifndef TAUTLINE_OPENXR_RING_HPP
#define TAUTLINE_OPENXR_RING_HPP

#include <array>
#include <atomic>
#include <cstdint>
#include <cstring>
#include <type_traits>

namespace tautline::layer {

/// One value behind a seqlock.
template <typename T>
class Seqlock {
 public:
  static_assert(std::is_trivially_copyable_v<T> && sizeof(T) % 8 == 0);

  /// One thread at a time. @param stamp other than any before; 0 stands for nothing
  void write(const T& value, std::uint64_t stamp) {
    std::uint64_t words[kWords];
    std::memcpy(words, &value, sizeof value);
    stamp_.store(0, std::memory_order_relaxed);
    // Each word after the stamp: whoever reads a new word then finds that the stamp has changed.
    for (std::size_t i = 0; i < kWords; i++) words_[i].store(words[i], std::memory_order_release);
    stamp_.store(stamp, std::memory_order_release);
  }

  std::uint64_t stamp() const { return stamp_.load(std::memory_order_acquire); }

  /// @return false when the value with this stamp is not there, or no longer
  bool read(T& value, std::uint64_t stamp) const {
    if (stamp == 0 || this->stamp() != stamp) return false;
    std::uint64_t words[kWords];
    for (std::size_t i = 0; i < kWords; i++) words[i] = words_[i].load(std::memory_order_acquire);
    if (stamp_.load(std::memory_order_relaxed) != stamp) return false;
    std::memcpy(&value, words, sizeof value);
    return true;
  }

 private:
  static constexpr std::size_t kWords = sizeof(T) / 8;
  std::atomic<std::uint64_t> stamp_{0};
  std::array<std::atomic<std::uint64_t>, kWords> words_{};
};

/// The last Size values with their times.
template <typename T, std::size_t Size>
class Ring {
 public:
  /// By the writing thread alone.
  void push(const T& value, double time) {
    const std::uint64_t count = count_.load(std::memory_order_relaxed);
    Slot& slot = slots_[count % Size];
    slot.time.store(time, std::memory_order_release);
    slot.value.write(value, count + 1);
    count_.store(count + 1, std::memory_order_release);
  }

  /// Forgets everything: what comes now has another clock.
  void clear() { first_.store(count_.load(std::memory_order_relaxed), std::memory_order_release); }

  /// The newest value, whatever its time. @return false: there is none
  bool newest(T& value) const {
    for (;;) {
      const std::uint64_t count = count_.load(std::memory_order_acquire);
      if (count == first_.load(std::memory_order_acquire)) return false;
      if (slots_[(count - 1) % Size].value.read(value, count)) return true;
    }
  }

  /// The newest value that is no newer than `time`, or the oldest there is. @return false: there is none
  bool at(double time, T& value) const {
    for (;;) {
      const std::uint64_t count = count_.load(std::memory_order_acquire);
      const std::uint64_t first = first_.load(std::memory_order_acquire);
      if (count == first) return false;
      // The writer may be at work on the oldest slot.
      const std::uint64_t oldest = count - first < Size ? first : count - Size + 1;
      std::uint64_t at = count - 1;
      while (at > oldest && !(slots_[at % Size].time.load(std::memory_order_acquire) <= time)) at--;
      if (slots_[at % Size].value.read(value, at + 1)) return true;
    }
  }

 private:
  struct Slot {
    std::atomic<double> time{0};
    Seqlock<T> value;
  };
  std::array<Slot, Size> slots_{};
  std::atomic<std::uint64_t> count_{0};
  std::atomic<std::uint64_t> first_{0};
};

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_RING_HPP
