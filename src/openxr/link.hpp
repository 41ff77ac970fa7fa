// The connection to the service: one thread for the whole program, however many instances it makes.
#ifndef TAUTLINE_OPENXR_LINK_HPP
#define TAUTLINE_OPENXR_LINK_HPP

#include <atomic>
#include <cstdint>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>

#include "../client/cpp/link/service-clock.hpp"
#include "../client/cpp/link/websocket.hpp"
#include "hand-sample.hpp"
#include "inputs.hpp"
#include "report.hpp"
#include "ring.hpp"

namespace tautline::layer {

/// By this machine's monotonic clock, ns.
std::int64_t monotonic_ns();

/// A glove whose newest sample is older than this is not there, ns.
constexpr std::int64_t kFreshNs = 200'000'000;

class Link {
 public:
  static Link& get();

  /// Begins to connect, unless that was done before; release() undoes it, and waits until the thread has ended.
  void acquire(const Application& application);
  void release();

  /// Whether there is a service: it says so in its file, or has answered.
  /// The wearer wants places in stage space, where the runtime has one.
  bool stage() const { return stage_.load(std::memory_order_relaxed); }
  bool has_service() const { return known_.load(std::memory_order_relaxed); }

  /// Whether the hand's glove is valid and its newest sample fresh. No lock, no allocation; as all of the following.
  bool live(Side side) const;
  /// Whether any sample ever came.
  bool ever_live() const { return ever_live_.load(std::memory_order_relaxed); }

  /// The sample to show at a time. @param local_ns monotonic; @param ahead_s how far the time lies after the sample
  /// @return false: none that is valid and fresh
  bool sample(Side side, std::int64_t local_ns, HandSample& sample, float& ahead_s) const;

  /// The newest inputs. @return false: none, or the glove is not live
  bool inputs(Side side, InputValues& values) const;

  /// Age of the hand's newest sample, µs; at least 1.
  std::uint32_t age_us(Side side) const;

  /// What the service is told of the application.
  Report& report() { return report_; }

  /// Local monotonic time of an instant of the service's clock.
  std::int64_t local_ns(double service_us) const;

  /// Asks for a vibration. @param amplitude 0: stop @param frequency_hz 0: as the service likes
  void pulse(Side side, float amplitude, unsigned duration_ms, unsigned frequency_hz);

  /// Where the grip of a hand is, in local or in stage space: the service makes the wrist of it, by the mount.
  void place(Side side, const XrPosef& grip, std::int64_t local_ns, bool in_stage);

  /// Takes a message as if it had come from the service; for tests.
  void take(link::WebSocket::Kind kind, const std::uint8_t* bytes, std::size_t size);

 private:
  struct Hand {
    Ring<HandSample, 128> ring;
    Seqlock<InputValues> inputs;
    std::uint64_t inputs_count = 0;
    std::atomic<std::uint64_t> inputs_stamp{0};
    std::atomic<std::int64_t> arrived_ns{0};
    /// When the newest sample was measured, by this machine's clock.
    std::atomic<std::int64_t> measured_ns{0};
    std::atomic<bool> valid{false};
    /// Amplitude, duration and frequency in one word, newest first; 0: nothing asked.
    std::atomic<std::uint64_t> asked{0};
    std::int64_t pulsed_ns = 0;
    bool mounted = false;
    XrPosef mount = kIdentity;
    XrPosef grip = kIdentity;
    bool grip_in_stage = false;
    /// When the grip was there; 0: nothing to send.
    std::int64_t grip_ns = 0;
    std::int64_t placed_ns = 0;
  };
  /// Of the grips: between the thread of the frames and ours.
  std::mutex grips_mutex_;

  Hand hands_[kSides];
  std::mutex users_mutex_;
  int users_ = 0;
  Application application_;
  Report report_;
  std::unique_ptr<std::thread> thread_;
  std::optional<link::SocketsInUse> sockets_;
  link::Waker waker_;
  std::atomic<bool> stop_{false};
  std::atomic<bool> known_{false};
  std::atomic<bool> stage_{false};
  std::atomic<bool> ever_live_{false};
  std::atomic<bool> open_{false};
  std::atomic<double> offset_us_{0};
  std::atomic<bool> clock_known_{false};
  link::ServiceClock clock_;
  link::JointsRecord record_{};

  void run();
  /// One connection, from its beginning to its end.
  void serve(link::WebSocket& socket);
  void connected(link::WebSocket& socket, bool with_name);
  void forget();
  void take_text(std::string_view text);
  void take_record(const std::uint8_t* bytes, std::size_t size);
  /// @return ms until there may be something to send; -1: nothing
  int send_pulses(link::WebSocket& socket);
  void send_grips(link::WebSocket& socket);

  bool name_refused_ = false;
  /// Whether the service serves this program: it has not said yet, yes, no.
  enum class Served : std::uint8_t { kUnsaid, kYes, kNo };
  Served served_ = Served::kUnsaid;
};

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_LINK_HPP
