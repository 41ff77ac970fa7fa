#include "link.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <iterator>
#include <new>
#include <utility>

#include "../client/cpp/link/discovery.hpp"
#include "../client/cpp/link/json.hpp"
#include "messages.hpp"
#include "program.hpp"

namespace tautline::layer {
namespace {

using link::WebSocket;
namespace json = link::json;

constexpr char kSubprotocol[] = "tautline.binary.v1";
constexpr std::int64_t kMs = 1'000'000;
/// Together less than the half second within which the layer is back after the service.
constexpr int kRetryMs = 200;
constexpr std::int64_t kOpenWithinNs = 250 * kMs;
constexpr std::int64_t kPingEveryNs = 1000 * kMs;
/// An answered ping a second: a connection that is silent for so long is none.
constexpr std::int64_t kSilentNs = 5000 * kMs;
/// Applications ask for vibrations every frame; so many of a hand are told, ns apart.
constexpr std::int64_t kPulseEveryNs = 20 * kMs;
/// A display shows no more than some hundred pictures a second.
constexpr std::int64_t kGripEveryNs = 8 * kMs;

/// Ids of requests that are answered by more than yes.
constexpr int kSubscribe = 1, kIntroduce = 2;
/// How the application is served is told so often, if it has changed.
constexpr std::int64_t kReportEveryNs = 1000 * kMs;

/// A loader takes layers out of memory when the program ends, whether or not the application has destroyed its instance
/// and thereby ended our thread. On Linux the linker was told so.
void stay_loaded() {
#ifdef _WIN32
  HMODULE self = nullptr;
  ::GetModuleHandleExW(GET_MODULE_HANDLE_EX_FLAG_PIN | GET_MODULE_HANDLE_EX_FLAG_FROM_ADDRESS,
                       reinterpret_cast<LPCWSTR>(&stay_loaded), &self);
#endif
}

}  // namespace

std::int64_t monotonic_ns() {
  return std::chrono::duration_cast<std::chrono::nanoseconds>(std::chrono::steady_clock::now().time_since_epoch())
      .count();
}

Link& Link::get() {
  // Never destroyed: an application that ends without destroying its instance must not wait for a thread, nor abort.
  // In the library's own memory, which goes with it.
  alignas(Link) static unsigned char memory[sizeof(Link)];
  static Link* const link = new (memory) Link;
  return *link;
}

void Link::acquire(const Application& application) {
  const std::lock_guard lock(users_mutex_);
  if (users_++ > 0) return;
  application_ = application;
  name_refused_ = false;
  link::Endpoint endpoint;
  link::Programs programs;
  // A program that is not served knows of no service from its first call on.
  const bool found = link::find_service(endpoint, &programs) && programs.serve(program_file());
  known_.store(found, std::memory_order_relaxed);
  stop_.store(false, std::memory_order_relaxed);
  stay_loaded();
  sockets_.emplace();
  // Without it the thread looks up by itself, every 50 ms at the latest.
  waker_.open();
  try {
    thread_ = std::make_unique<std::thread>([this] { run(); });
  } catch (...) {
    // No thread, no glove; the application goes on.
    thread_.reset();
  }
}

void Link::release() {
  const std::lock_guard lock(users_mutex_);
  if (users_ == 0 || --users_ > 0) return;
  stop_.store(true, std::memory_order_relaxed);
  waker_.wake();
  if (thread_) thread_->join();
  thread_.reset();
  waker_.close();
  sockets_.reset();
  application_ = Application{};
  forget();
}

void Link::run() {
  try {
    WebSocket socket;
    while (!stop_.load(std::memory_order_relaxed)) {
      link::Endpoint endpoint;
      link::Programs programs;
      link::find_service(endpoint, &programs);
      stage_.store(programs.stage, std::memory_order_relaxed);
      if (socket.connect(endpoint, kSubprotocol)) serve(socket);
      socket.close();
      forget();
      const std::int64_t until = monotonic_ns() + kRetryMs * kMs;
      while (!stop_.load(std::memory_order_relaxed)) {
        const std::int64_t left = until - monotonic_ns();
        if (left <= 0) break;
        link::wait(link::Socket(), false, waker_, static_cast<int>(std::min(left / kMs + 1, std::int64_t(50))));
      }
    }
    socket.close();
  } catch (...) {
    forget();
  }
}

void Link::forget() {
  open_.store(false, std::memory_order_relaxed);
  served_ = Served::kUnsaid;
  clock_.reset();
  clock_known_.store(false, std::memory_order_relaxed);
  for (Hand& hand : hands_) {
    hand.valid.store(false, std::memory_order_relaxed);
    hand.inputs_stamp.store(0, std::memory_order_relaxed);
    hand.asked.store(0, std::memory_order_relaxed);
    hand.ring.clear();
    hand.mounted = false;
  }
}

void Link::connected(WebSocket& socket, bool with_name) {
  std::string request = R"({"type":"subscribe","id":1,"streams":["joints","inputs"],"velocities":true)";
  if (with_name && !application_.name.empty()) request += ",\"app\":" + json::quote(application_.name);
  socket.send(request + "}");
}

void Link::serve(WebSocket& socket) {
  const std::int64_t begun = monotonic_ns();
  std::int64_t heard = begun, pinged = 0;
  bool introduced = false, subscribed = false, with_name = true;
  std::int64_t reported = 0;
  const auto on_message = [this](WebSocket::Kind kind, const std::uint8_t* bytes, std::size_t size) {
    take(kind, bytes, size);
  };
  int timeout_ms = 50;
  while (!stop_.load(std::memory_order_relaxed)) {
    const link::Ready ready = link::wait(socket.socket(), socket.wants_to_write(), waker_, timeout_ms);
    if (ready.readable || ready.writable) {
      if (!socket.pump(on_message)) return;
      if (ready.readable) heard = monotonic_ns();
    }
    const std::int64_t now = monotonic_ns();
    timeout_ms = 50;
    if (socket.state() != WebSocket::State::kOpen) {
      if (now - begun > kOpenWithinNs) return;
      continue;
    }
    if (!introduced || (subscribed && now - reported > kReportEveryNs)) {
      if (!introduced) report_.introduce(application_, kIntroduce);
      if (!socket.send(report_.message())) return;
      introduced = true;
      reported = now;
    }
    if (served_ == Served::kNo) known_.store(false, std::memory_order_relaxed);
    if (served_ == Served::kYes && (!subscribed || (name_refused_ && with_name))) {
      with_name = !name_refused_;
      connected(socket, with_name);
      subscribed = true;
      known_.store(true, std::memory_order_relaxed);
      open_.store(true, std::memory_order_relaxed);
    }
    if (now - heard > kSilentNs) return;
    if (now - pinged > kPingEveryNs || (!clock_.known() && now - pinged > 20 * kMs)) {
      pinged = now;
      if (!socket.send(R"({"type":"ping","timeUs":)" + std::to_string(now / 1000) + "}")) return;
    }
    send_grips(socket);
    const int next_pulse_ms = send_pulses(socket);
    if (next_pulse_ms >= 0) timeout_ms = std::min(timeout_ms, next_pulse_ms);
  }
}

void Link::take(WebSocket::Kind kind, const std::uint8_t* bytes, std::size_t size) {
  if (kind == WebSocket::Kind::kBinary) take_record(bytes, size);
  else take_text(std::string_view(reinterpret_cast<const char*>(bytes), size));
}

void Link::take_record(const std::uint8_t* bytes, std::size_t size) {
  if (!link::read_joints(bytes, size, record_)) return;
  Hand& hand = hands_[record_.hand];
  HandSample sample;
  make_sample(record_, sample);
  sample.arrived_ns = monotonic_ns();
  if (hand.mounted) {
    sample.mount = hand.mount;
    sample.mounted = 1;
  }
  // Times that go back belong to another source, such as a replay.
  HandSample last;
  if (hand.ring.newest(last) && !(sample.time_us >= last.time_us)) hand.ring.clear();
  hand.ring.push(sample, sample.time_us);
  const bool timed = clock_known_.load(std::memory_order_relaxed);
  hand.measured_ns.store(timed ? local_ns(sample.time_us) : sample.arrived_ns, std::memory_order_relaxed);
  hand.arrived_ns.store(sample.arrived_ns, std::memory_order_relaxed);
  hand.valid.store(record_.valid, std::memory_order_release);
  if (record_.valid) ever_live_.store(true, std::memory_order_relaxed);
}

void Link::take_text(std::string_view text) {
  const std::int64_t now = monotonic_ns();
  Message message;
  if (!read_message(text, message) || !(std::fabs(message.time_us) <= 1e17)) return;
  if (message.type == "inputs" && is_hand(message.hand)) {
    Hand& hand = hands_[side_of(message.hand)];
    message.inputs.time_us = message.time_us;
    hand.inputs.write(message.inputs, ++hand.inputs_count);
    hand.inputs_stamp.store(hand.inputs_count, std::memory_order_release);
  } else if (message.type == "ack" && message.id == kIntroduce) {
    served_ = Served::kYes;
  } else if (message.type == "error" && message.id == kIntroduce) {
    // A service that does not know the message serves everybody.
    if (served_ == Served::kUnsaid) served_ = message.error_code == "notPermitted" ? Served::kNo : Served::kYes;
  } else if (message.type == "ack" && message.echo_us <= double(now) / 1e3 && message.echo_us > 0) {
    clock_.add(message.echo_us, double(now) / 1e3, message.time_us);
    if (!clock_.known()) return;
    offset_us_.store(clock_.offset_us(), std::memory_order_relaxed);
    clock_known_.store(true, std::memory_order_release);
  } else if (message.type == "error" && message.id == kSubscribe) {
    // The name may belong to another app; without one we are served as anyone.
    name_refused_ = true;
  } else if (message.type == "welcome") {
    for (const Side side : kBothSides) {
      hands_[side].mounted = message.mounted[side] && read_mount(message.mounts[side], hands_[side].mount);
    }
  }
}

bool Link::live(Side side) const {
  const Hand& hand = hands_[side];
  return hand.valid.load(std::memory_order_acquire) &&
         monotonic_ns() - hand.arrived_ns.load(std::memory_order_relaxed) < kFreshNs;
}

bool Link::sample(Side side, std::int64_t local_ns, HandSample& sample, float& ahead_s) const {
  const Hand& hand = hands_[side];
  if (!live(side)) return false;
  ahead_s = 0;
  if (!clock_known_.load(std::memory_order_acquire)) return hand.ring.newest(sample) && sample.valid != 0;
  const double service_us = double(local_ns) / 1e3 + offset_us_.load(std::memory_order_relaxed);
  if (!hand.ring.at(service_us, sample)) return false;
  ahead_s = static_cast<float>((service_us - sample.time_us) / 1e6);
  // A source with a clock of its own, such as a replay at another pace: there is no telling how far ahead.
  if (!(std::fabs(ahead_s) < 1)) {
    ahead_s = 0;
    if (!hand.ring.newest(sample)) return false;
  }
  return sample.valid != 0;
}

std::uint32_t Link::age_us(Side side) const {
  const std::int64_t age = (monotonic_ns() - hands_[side].measured_ns.load(std::memory_order_relaxed)) / 1000;
  return static_cast<std::uint32_t>(std::clamp<std::int64_t>(age, 1, 10'000'000));
}

bool Link::inputs(Side side, InputValues& values) const {
  if (!live(side)) return false;
  const Hand& hand = hands_[side];
  for (int i = 0; i < 100; i++) {
    const std::uint64_t stamp = hand.inputs_stamp.load(std::memory_order_acquire);
    if (stamp == 0) return false;
    if (hand.inputs.read(values, stamp)) return true;
  }
  return false;
}

std::int64_t Link::local_ns(double service_us) const {
  return static_cast<std::int64_t>((service_us - offset_us_.load(std::memory_order_relaxed)) * 1e3);
}

void Link::pulse(Side side, float amplitude, unsigned duration_ms, unsigned frequency_hz) {
  if (!open_.load(std::memory_order_relaxed) || !live(side)) return;
  const auto strength = static_cast<std::uint64_t>(std::lround(std::clamp(amplitude, 0.f, 1.f) * 1000));
  const std::uint64_t asked = std::uint64_t(1) << 63 | strength << 32 | std::uint64_t(duration_ms & 0xffff) << 16 |
                              (frequency_hz & 0xffff);
  hands_[side].asked.store(asked, std::memory_order_release);
  waker_.wake();
}

void Link::place(Side side, const XrPosef& grip, std::int64_t local_ns, bool in_stage) {
  if (!open_.load(std::memory_order_relaxed) || !clock_known_.load(std::memory_order_acquire)) return;
  {
    const std::lock_guard lock(grips_mutex_);
    if (local_ns - hands_[side].placed_ns < kGripEveryNs) return;
    hands_[side].grip = grip;
    hands_[side].grip_in_stage = in_stage;
    hands_[side].grip_ns = hands_[side].placed_ns = local_ns;
  }
  waker_.wake();
}

void Link::send_grips(WebSocket& socket) {
  for (const Side side : kBothSides) {
    Hand& hand = hands_[side];
    XrPosef grip;
    std::int64_t local = 0;
    bool in_stage = false;
    {
      const std::lock_guard lock(grips_mutex_);
      grip = hand.grip;
      in_stage = hand.grip_in_stage;
      local = std::exchange(hand.grip_ns, 0);
    }
    if (local == 0) continue;
    // Whole numbers alone: an application may have set a locale whose decimal point is none.
    const auto tiny = [](float value) { return std::to_string(std::llround(double(value) * 1e7)) + "e-7"; };
    std::string request = R"({"type":"tracker","of":"tracker","hand":")";
    request += side == kLeft ? "left" : "right";
    request += in_stage ? R"(","world":"stage)" : R"(","world":"local)";
    request += R"(","position":[)" + tiny(grip.position.x) + ',' + tiny(grip.position.y) + ',' + tiny(grip.position.z);
    request += R"(],"orientation":[)" + tiny(grip.orientation.x) + ',' + tiny(grip.orientation.y) + ',' +
               tiny(grip.orientation.z) + ',' + tiny(grip.orientation.w);
    const double service_us = double(local) / 1e3 + offset_us_.load(std::memory_order_relaxed);
    request += R"(],"timeUs":)" + std::to_string(std::llround(service_us));
    socket.send(request + "}");
  }
}

int Link::send_pulses(WebSocket& socket) {
  int next_ms = -1;
  for (const Side side : kBothSides) {
    Hand& hand = hands_[side];
    if (hand.asked.load(std::memory_order_relaxed) == 0) continue;
    const std::int64_t left = hand.pulsed_ns + kPulseEveryNs - monotonic_ns();
    if (left > 0) {
      const int ms = static_cast<int>(left / kMs) + 1;
      next_ms = next_ms < 0 ? ms : std::min(next_ms, ms);
      continue;
    }
    const std::uint64_t asked = hand.asked.exchange(0, std::memory_order_acq_rel);
    hand.pulsed_ns = monotonic_ns();
    const unsigned thousandths = asked >> 32 & 0xffff, duration_ms = asked >> 16 & 0xffff, frequency_hz = asked & 0xffff;
    // Whole numbers alone: an application may have set a locale whose decimal point is none.
    std::string request = R"({"type":"pulse","hand":")";
    request += side == kLeft ? "left" : "right";
    request += R"(","amplitude":)" + std::to_string(thousandths) + "e-3";
    // Of no length: an end to what is left of an earlier one.
    request += R"(,"durationMs":)" + std::to_string(thousandths == 0 ? 0 : std::clamp(duration_ms, 1u, 2000u));
    if (frequency_hz > 0) request += ",\"frequencyHz\":" + std::to_string(std::min(frequency_hz, 1000u));
    socket.send(request + "}");
  }
  return next_ms;
}

}  // namespace tautline::layer
