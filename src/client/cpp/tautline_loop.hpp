// The Tautline stream for a frame loop, on Linux, macOS and Windows: C++17, this header and those in link/. Nothing here
// waits, throws (but for want of memory) or starts a thread, and it builds with -fno-exceptions.
//
//   tautline::Loop glove;                        // finds the service whenever it starts
//   for (;;) {                                   // each frame
//     glove.poll();
//     const auto& right = glove.hand(1);
//     if (right.poses > 0 && right.pose.valid) use(right.pose.joints[10].position);  // index finger tip
//   }
//
// What is held is renewed by poll() and by nothing else: a program whose loop hangs holds no finger for longer than a
// quarter of a second.
#ifndef TAUTLINE_LOOP_HPP
#define TAUTLINE_LOOP_HPP

#include <chrono>
#include <cstdint>
#include <cstdio>
#include <string>
#include <string_view>
#include <vector>

#include "link/discovery.hpp"
#include "link/json.hpp"
#include "link/record.hpp"
#include "link/websocket.hpp"
#include "link/welcome.hpp"
#include "tautline_error.hpp"

namespace tautline {

/// What is known of one hand; filled in by poll().
struct LoopHand {
  link::JointsRecord pose{};  ///< the newest, if poses > 0
  std::uint64_t poses = 0;    ///< that have come
  bool present = false;       ///< the service has a glove for it
  bool armed = false;         ///< the wearer permits forces
  std::string how_to_arm = "connect the glove";  ///< completes "To arm: ..."
};

/// What the service says of something that is touched.
struct LoopContact {
  bool carried = false;  ///< two fingers press against each other through it: lifted, it would come along
  int fingers = 0;       ///< that are at its surface
};

/// asking: no answer yet. held: in force. paused: resumed by itself when the reason is gone. refused: never accepted.
enum class HoldState { kNone, kAsking, kHeld, kPaused, kRefused };

/// What is subscribed.
struct LoopOptions {
  int rate_hz = 0;        ///< poses a second at most; 0: every sample
  bool surface = false;   ///< show fingers that touch resting on the surface, and give pressures
  int predict_ms = 0;     ///< how far the service predicts ahead, 0..50
};

class Loop {
 public:
  enum class State { kConnecting, kOpen, kWaiting };

  /// Where the service says it is, or at the usual address.
  /// @param app a name for people. @param url ws://ADDRESS:PORT/stream, numeric; empty: found
  explicit Loop(std::string_view app = {}, std::string_view url = {}, std::string_view token = {}, LoopOptions options = {})
      : app_(app), url_(url), token_(token), options_(options) {}
  ~Loop() { socket_.close(); }
  Loop(const Loop&) = delete;
  Loop& operator=(const Loop&) = delete;

  State state() const { return state_; }
  /// Why it is not open: one line; empty while it is.
  const std::string& reason() const { return reason_; }
  /// 0 left, 1 right.
  const LoopHand& hand(int side) const { return hands_[side & 1]; }
  /// The newest refusal of a request; its code is empty if there was none yet.
  const Error& error() const { return error_; }
  /// Counts them, to see that there is a new one.
  std::uint64_t errors() const { return errors_; }
  /// The newest refusal as JSON text, as docs/protocol.md has it; empty: none yet.
  const std::string& refusal() const { return refusal_; }

  /// Does what there is to do, without waiting. Call it once a frame.
  void poll() {
    const std::int64_t now = now_ms();
    if (state_ == State::kWaiting && now >= next_ms_) connect(now);
    if (state_ != State::kWaiting) {
      const bool going = socket_.pump([this](link::WebSocket::Kind kind, const std::uint8_t* bytes, std::size_t size) {
        heard_ms_ = now_ms();
        if (kind == link::WebSocket::Kind::kBinary) take_record(bytes, size);
        else take_text(std::string_view(reinterpret_cast<const char*>(bytes), size));
      });
      if (!going) lose(state_ == State::kOpen ? "The connection ended." : "No service answers at " + where() + ".", now);
      else if (state_ == State::kConnecting && now >= next_ms_) lose("No welcome came in time from " + where() + ".", now);
      else if (state_ == State::kOpen) ping(now);
    }
    for (std::size_t slot = 0; slot < holds_.size(); slot++) renew(slot, now);
  }

  /// Makes something felt until it is released.
  /// @param side 0 left, 1 right. @param type "touch" or "resist"
  /// @param members of that message without type, hand, layer and ttlMs, as in R"("shape":{"kind":"sphere","radius":0.03})"
  /// @return a number for move(), release() and hold_state()
  int hold(int side, std::string_view type, std::string_view members) {
    std::size_t slot = 0;
    while (slot < holds_.size() && holds_[slot].state != HoldState::kNone) slot++;
    if (slot == holds_.size()) holds_.emplace_back();
    Held& held = holds_[slot];
    held.state = HoldState::kAsking;
    held.side = side & 1;
    held.first_id = last_id_ + 1;
    held.paused_id = 0;
    held.sent_ms = 0;
    held.on_its_way = false;
    held.contact = {};
    held.why = {};
    held.limited.clear();
    held.layer = "hold" + std::to_string(++layers_);
    held.type = type;
    held.members = members;
    held.changed = true;
    return static_cast<int>(slot);
  }
  /// Gives it other members; sent at the next poll(), every 8 ms at most.
  void move(int hold, std::string_view members) {
    if (!known(hold)) return;
    holds_[std::size_t(hold)].members = members;
    holds_[std::size_t(hold)].changed = true;
  }
  void release(int hold) {
    if (!known(hold)) return;
    Held& held = holds_[std::size_t(hold)];
    if (held.state != HoldState::kRefused) let_go(held);
    held.state = HoldState::kNone;
  }
  /// Why it is paused or refused: notConnected, or the code of the service. Its code is empty otherwise.
  const Error& hold_error(int hold) const { return known(hold) ? holds_[std::size_t(hold)].why : nothing_; }
  /// Why the service grants less than was asked for; empty when it grants it all.
  const std::string& limited(int hold) const { return known(hold) ? holds_[std::size_t(hold)].limited : nothing_.code; }
  HoldState hold_state(int hold) const { return known(hold) ? holds_[std::size_t(hold)].state : HoldState::kNone; }

  /// Of a touch: which fingers are at it. Nothing for any other number.
  LoopContact contact(int hold) const { return known(hold) ? holds_[std::size_t(hold)].contact : LoopContact{}; }

  /// Sends a request: JSON text as docs/protocol.md has it. @return false: not connected
  bool send(std::string_view json) { return state_ == State::kOpen && socket_.send(json); }

 private:
  struct Held {
    HoldState state = HoldState::kNone;
    int side = 1;
    std::string layer, type, members, limited;
    Error why;
    std::uint64_t first_id = 0, paused_id = 0;
    std::int64_t sent_ms = 0;
    bool changed = false, on_its_way = false;
    LoopContact contact;
  };
  static constexpr std::int64_t kFirstWaitMs = 200, kLongestWaitMs = 5000, kWelcomeWithinMs = 10000, kPingMs = 2000,
                                kSilentMs = 6000, kRenewMs = 60, kMoveMs = 8;
  static constexpr std::uint64_t kSlots = 1024;

  link::SocketsInUse sockets_;
  link::WebSocket socket_;
  link::Endpoint endpoint_;
  State state_ = State::kWaiting;
  std::string app_, url_, token_, reason_ = "poll() has not been called.", refusal_, out_, id_, limited_, complaint_;
  Error error_;
  const Error nothing_, not_connected_{"notConnected", "There is no connection to the service.", {}};
  LoopOptions options_;
  LoopHand hands_[2];
  std::vector<Held> holds_;
  std::uint64_t last_id_ = 0, layers_ = 0, errors_ = 0;
  std::int64_t next_ms_ = 0, heard_ms_ = 0, ping_ms_ = 0;
  int attempts_ = 0;

  static std::int64_t now_ms() {
    const auto now = std::chrono::steady_clock::now().time_since_epoch();
    return std::chrono::duration_cast<std::chrono::milliseconds>(now).count();
  }
  bool known(int hold) const {
    return hold >= 0 && std::size_t(hold) < holds_.size() && holds_[std::size_t(hold)].state != HoldState::kNone;
  }
  std::string where() const { return "ws://" + endpoint_.address + ":" + std::to_string(endpoint_.port) + endpoint_.path; }

  void connect(std::int64_t now) {
    bool good = true;
    if (url_.empty()) link::find_service(endpoint_);
    else good = link::read_url(url_, endpoint_);
    if (!good) return lose("The address of the service is ws://ADDRESS:PORT/stream, not " + url_ + ".", now);
    if (!token_.empty()) endpoint_.token = token_;
    if (!socket_.connect(endpoint_, "tautline.binary.v1")) return lose("No service answers at " + where() + ".", now);
    state_ = State::kConnecting;
    next_ms_ = now + kWelcomeWithinMs;
  }

  void lose(std::string why, std::int64_t now) {
    socket_.close();
    state_ = State::kWaiting;
    // The line that the service sends before it closes says more than its close.
    reason_ = complaint_.empty() ? std::move(why) : complaint_;
    complaint_.clear();
    // Doubling waits, cut by up to a half so that apps do not all come back at once.
    std::int64_t wait = kFirstWaitMs << (attempts_ < 5 ? attempts_ : 5);
    if (wait > kLongestWaitMs) wait = kLongestWaitMs;
    attempts_++;
    next_ms_ = now + wait / 2 + (now * 2654435761LL % 1000) * (wait / 2) / 1000;
    for (Held& held : holds_) held.contact = {};
    for (LoopHand& hand : hands_) {
      hand.present = hand.armed = false;
      hand.pose.valid = false;
    }
  }

  void ping(std::int64_t now) {
    if (now - heard_ms_ > kSilentMs && ping_ms_ > heard_ms_) return lose("Nothing comes from the service any more.", now);
    if (now - ping_ms_ < kPingMs) return;
    ping_ms_ = now;
    socket_.send(R"({"type":"ping"})");
  }

  void take_record(const std::uint8_t* bytes, std::size_t size) {
    if (size < 2 || bytes[1] > 1) return;
    LoopHand& hand = hands_[bytes[1]];
    link::JointsRecord record;
    if (!link::read_joints(bytes, size, record)) return;
    hand.pose = record;
    hand.poses++;
  }

  void take_text(std::string_view text) {
    namespace json = link::json;
    json::Reader in(text);
    json::Key key;
    json::Text type, value, app;
    limited_.clear();
    int side = -1;
    double id = 0;
    bool armed[2] = {hands_[0].armed, hands_[1].armed}, present[2] = {};
    json::Text how[2];
    if (in.begin_object()) {
      while (in.next_member(key)) {
        if (key == "type" && in.peek() == '"') in.string(type);
        else if (key == "limited" && in.peek() == '"') in.string(limited_);
        else if (key == "hand" && in.peek() == '"' && in.string(value)) side = value == "left" ? 0 : value == "right" ? 1 : -1;
        else if (key == "armed" && side >= 0) link::read_flag(in, armed[side]);
        else if (key == "id" && in.peek() != '"') in.number(id);
        else if (key == "app" && in.peek() == '"') in.string(app);
        else if (key == "touches" && in.peek() == '[' && side >= 0) read_touches(in, side);
        else if (key == "hands" && in.peek() == '[') link::read_hands(in, armed, present, how);
        else in.skip();
      }
    }
    if (!in.ok()) return;
    if (type == "welcome") {
      id_ = std::string(app.view());
      for (int i = 0; i < 2; i++) {
        hands_[i].present = present[i];
        hands_[i].armed = armed[i];
        if (present[i]) hands_[i].how_to_arm = std::string(how[i].view());
      }
      if (state_ == State::kConnecting) open();
    } else if (type == "resistance" && side >= 0) {
      hands_[side].armed = armed[side];
    } else if (type == "ack" || type == "error") {
      const bool refused = type == "error" && read_error(text, error_);
      if (type == "error" && !refused) return;
      if (refused) {
        refusal_.assign(text);
        errors_++;
      }
      if (id >= 1 && id < 9e15) answer(static_cast<std::uint64_t>(id), refused);
      else if (refused) complaint_ = error_.message;
    }
  }

  /// What is not named is not touched.
  void read_touches(link::json::Reader& in, int side) {
    link::json::Key key;
    link::json::Text by, layer;
    for (Held& held : holds_) {
      if (held.side == side) held.contact = {};
    }
    in.begin_array();
    while (in.next_element()) {
      if (in.peek() != '{') {
        in.skip();
        continue;
      }
      in.begin_object();
      LoopContact contact;
      by.clear();
      layer.clear();
      while (in.next_member(key)) {
        if (key == "by" && in.peek() == '"') in.string(by);
        else if (key == "layer" && in.peek() == '"') in.string(layer);
        else if (key == "carried") link::read_flag(in, contact.carried);
        else if (key == "fingers" && in.peek() == '[') {
          in.begin_array();
          for (; in.next_element(); contact.fingers++) in.skip();
        } else in.skip();
      }
      for (Held& held : holds_) {
        if (held.side == side && by == id_ && layer == held.layer && in.ok()) held.contact = contact;
      }
    }
  }

  void open() {
    state_ = State::kOpen;
    reason_.clear();
    attempts_ = 0;
    heard_ms_ = ping_ms_ = now_ms();
    out_ = R"({"type":"subscribe","velocities":true,"streams":["joints","resistance","gestures"])";
    char number[40];
    if (options_.rate_hz > 0) std::snprintf(number, sizeof number, ",\"rateHz\":%d", options_.rate_hz), out_ += number;
    if (options_.predict_ms > 0) std::snprintf(number, sizeof number, ",\"predictMs\":%d", options_.predict_ms), out_ += number;
    if (options_.surface) out_ += ",\"surface\":true";
    if (!app_.empty()) out_ += ",\"app\":" + link::json::quote(app_);
    socket_.send(out_ += '}');
  }

  /// What is refused is in error_, what is granted in limited_.
  void answer(std::uint64_t id, bool refused) {
    const std::size_t slot = static_cast<std::size_t>(id % kSlots);
    if (slot >= holds_.size()) return;
    Held& held = holds_[slot];
    if (held.state == HoldState::kNone || held.state == HoldState::kRefused || id / kSlots < held.first_id) return;
    // Answers come in the order of the requests, however late; what was asked before a pause says nothing about now.
    const bool counts = id / kSlots > held.paused_id;
    if (!refused) {
      if (!counts) return;
      held.state = HoldState::kHeld;
      held.why = nothing_;
      held.limited = limited_;
    } else if (error_.code == "disarmed" || error_.code == "tryAgain") {
      if (counts) pause(held, error_);
    } else {
      held.state = HoldState::kRefused;
      held.why = error_;
      let_go(held);
    }
  }

  void pause(Held& held, const Error& why) {
    if (held.why.code != why.code || held.why.message != why.message || held.why.path != why.path) held.why = why;
    if (held.state != HoldState::kPaused) let_go(held);
    held.state = HoldState::kPaused;
    held.paused_id = last_id_;
  }

  void begin(const char* type, const Held& held) {
    out_ = "{\"type\":\"";
    out_ += type;
    out_ += held.side == 0 ? "\",\"hand\":\"left\",\"layer\":\"" : "\",\"hand\":\"right\",\"layer\":\"";
    out_ += held.layer;
    out_ += '"';
  }

  void let_go(Held& held) {
    const bool asked = held.on_its_way;
    held.on_its_way = false;
    if (!asked || state_ != State::kOpen) return;
    begin("release", held);
    socket_.send(out_ += '}');
  }

  void renew(std::size_t slot, std::int64_t now) {
    Held& held = holds_[slot];
    if (held.state == HoldState::kNone || held.state == HoldState::kRefused) return;
    // The service judges the rest: a touch without effort is taken while the glove is disarmed.
    if (state_ != State::kOpen) return pause(held, not_connected_);
    if (now - held.sent_ms < (held.changed ? kMoveMs : kRenewMs)) return;
    held.sent_ms = now;
    held.changed = false;
    begin(held.type.c_str(), held);
    out_ += ",\"ttlMs\":250,\"id\":";
    char id[24];
    std::snprintf(id, sizeof id, "%llu", static_cast<unsigned long long>(++last_id_ * kSlots + slot));
    out_ += id;
    if (!held.members.empty()) out_ += ',';
    out_ += held.members;
    out_ += '}';
    held.on_its_way = socket_.send(out_);
  }
};

}  // namespace tautline

#endif  // TAUTLINE_LOOP_HPP
