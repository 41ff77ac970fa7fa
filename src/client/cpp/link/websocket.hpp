// A WebSocket client (RFC 6455) that never waits and never throws: whoever owns it waits for its socket, calls pump()
// and gets whole messages. What a peer sends beyond the rules or the bounds ends the connection.
#ifndef TAUTLINE_LINK_WEBSOCKET_HPP
#define TAUTLINE_LINK_WEBSOCKET_HPP

#include <chrono>
#include <cstdint>
#include <cstring>
#include <string>
#include <string_view>
#include <vector>

#include "handshake.hpp"
#include "sockets.hpp"

namespace tautline::link {

/// Where a service is.
struct Endpoint {
  std::string address = "127.0.0.1";  ///< numeric
  std::uint16_t port = 7117;
  std::string path = "/stream";
  std::string token;  ///< empty: none
};

class WebSocket {
 public:
  enum class State { kClosed, kConnecting, kShakingHands, kOpen };
  enum class Kind { kText, kBinary };

  State state() const { return state_; }
  const Socket& socket() const { return socket_; }
  bool wants_to_write() const { return state_ == State::kConnecting || !out_.empty(); }

  /// Begins to connect; pump() goes on. @return false: no way
  bool connect(const Endpoint& endpoint, std::string_view subprotocol) {
    close();
    subprotocol_ = subprotocol;
    if (!socket_.connect(endpoint.address.c_str(), endpoint.port)) return false;
    random_ ^= static_cast<std::uint64_t>(std::chrono::steady_clock::now().time_since_epoch().count());
    std::uint8_t bytes[16];
    for (std::uint8_t& byte : bytes) byte = static_cast<std::uint8_t>(next_random());
    key_ = base64(bytes, sizeof bytes);
    const bool six = endpoint.address.find(':') != std::string::npos;
    const std::string host = six ? "[" + endpoint.address + "]" : endpoint.address;
    out_ = "GET " + endpoint.path + " HTTP/1.1\r\nHost: " + host + ":" + std::to_string(endpoint.port) +
           "\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: " + key_ +
           "\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Protocol: " + subprotocol_ + "\r\n" +
           (endpoint.token.empty() ? "" : "Authorization: Bearer " + endpoint.token + "\r\n") + "\r\n";
    state_ = State::kConnecting;
    return true;
  }

  /// @return false: not open, or the peer does not read
  bool send(std::string_view text) { return state_ == State::kOpen && frame(1, text.data(), text.size()); }

  /// Sends and receives what can be at once. @param on_message called with (Kind, const uint8_t*, size_t) for each whole
  /// message, and for nothing else. @return false: the connection has ended
  template <typename OnMessage>
  bool pump(OnMessage&& on_message) {
    if (state_ == State::kClosed) return false;
    if (state_ == State::kConnecting) {
      if (!socket_.connected()) return end();
      state_ = State::kShakingHands;
    }
    if (!flush()) return end();
    for (int turns = 0; turns < 16; turns++) {
      if (in_.size() < filled_ + kChunk) in_.resize(filled_ + kChunk);
      const long count = socket_.read(in_.data() + filled_, kChunk);
      if (count < 0) return end();
      if (count == 0) break;
      filled_ += static_cast<std::size_t>(count);
      if (!digest(on_message)) return end();
      if (static_cast<std::size_t>(count) < kChunk) break;
    }
    return flush() || end();
  }

  /// Says goodbye, as far as that can be done without waiting.
  void close() {
    if (state_ == State::kOpen) frame(8, "\x03\xe8", 2);
    end();
  }

 private:
  static constexpr std::size_t kChunk = 32 * 1024;
  static constexpr std::size_t kLargestMessage = 1 << 20;
  static constexpr std::size_t kLargestHead = 16 * 1024;
  static constexpr std::size_t kMostUnsent = 64 * 1024;

  Socket socket_;
  State state_ = State::kClosed;
  std::string subprotocol_, key_, out_;
  std::vector<std::uint8_t> in_;
  std::size_t filled_ = 0;
  std::string parts_;  // of a message in several frames
  int parts_opcode_ = 0;
  std::uint64_t random_ = 0x9e3779b97f4a7c15;

  bool end() {
    socket_.close();
    state_ = State::kClosed;
    out_.clear();
    parts_.clear();
    filled_ = 0;
    parts_opcode_ = 0;
    return false;
  }

  // Vigna's splitmix64: masks are there to keep caches from mistaking frames for requests, not for secrecy.
  std::uint64_t next_random() {
    std::uint64_t z = random_ += 0x9e3779b97f4a7c15;
    z = (z ^ z >> 30) * 0xbf58476d1ce4e5b9;
    z = (z ^ z >> 27) * 0x94d049bb133111eb;
    return z ^ z >> 31;
  }

  bool flush() {
    while (!out_.empty()) {
      const long count = socket_.write(out_.data(), out_.size());
      if (count < 0) return false;
      if (count == 0) break;
      out_.erase(0, static_cast<std::size_t>(count));
    }
    return true;
  }

  bool frame(int opcode, const char* payload, std::size_t size) {
    if (out_.size() + size > kMostUnsent) return false;
    out_ += static_cast<char>(0x80 | opcode);
    if (size < 126) {
      out_ += static_cast<char>(0x80 | size);
    } else {
      out_ += static_cast<char>(0x80 | 126);
      out_ += static_cast<char>(size >> 8);
      out_ += static_cast<char>(size);
    }
    const auto random = static_cast<std::uint32_t>(next_random());
    char mask[4];
    std::memcpy(mask, &random, 4);
    out_.append(mask, 4);
    for (std::size_t i = 0; i < size; i++) out_ += static_cast<char>(payload[i] ^ mask[i & 3]);
    return flush();
  }

  template <typename OnMessage>
  bool digest(OnMessage& on_message) {
    std::size_t at = 0;
    if (state_ == State::kShakingHands) {
      const std::string_view got(reinterpret_cast<const char*>(in_.data()), filled_);
      const std::size_t blank = got.find("\r\n\r\n");
      if (blank == std::string_view::npos) return filled_ < kLargestHead;
      const std::string_view head = got.substr(0, blank + 2);
      const bool agreed = head.substr(0, 12) == "HTTP/1.1 101" &&
                          header(head, "sec-websocket-accept") == accept_of(key_) &&
                          header(head, "sec-websocket-protocol") == subprotocol_;
      if (!agreed) return false;
      state_ = State::kOpen;
      at = blank + 4;
    }
    while (state_ == State::kOpen) {
      const std::uint8_t* p = in_.data() + at;
      const std::size_t left = filled_ - at;
      if (left < 2) break;
      std::size_t head = 2;
      std::uint64_t size = p[1] & 127;
      // A service masks nothing, and we agreed on no extension.
      if ((p[1] & 0x80) != 0 || (p[0] & 0x70) != 0) return false;
      if (size >= 126) {
        const std::size_t more = size == 126 ? 2 : 8;
        if (left < head + more) break;
        size = 0;
        for (std::size_t i = 0; i < more; i++) size = size << 8 | p[head + i];
        head += more;
      }
      if (size > kLargestMessage) return false;
      if (left - head < size) break;
      if (!take(p[0], p + head, static_cast<std::size_t>(size), on_message)) return false;
      at += head + static_cast<std::size_t>(size);
    }
    std::memmove(in_.data(), in_.data() + at, filled_ - at);
    filled_ -= at;
    return state_ != State::kClosed;
  }

  template <typename OnMessage>
  bool take(std::uint8_t first, const std::uint8_t* payload, std::size_t size, OnMessage& on_message) {
    const int opcode = first & 15;
    const bool final = (first & 0x80) != 0;
    if (opcode >= 8) {
      if (!final || size > 125 || opcode > 10) return false;
      if (opcode == 9) return frame(10, reinterpret_cast<const char*>(payload), size);
      return opcode == 10;
    }
    if (opcode > 2 || (opcode == 0) != (parts_opcode_ != 0)) return false;
    if (final && opcode != 0) {
      on_message(opcode == 1 ? Kind::kText : Kind::kBinary, payload, size);
      return true;
    }
    if (opcode != 0) parts_opcode_ = opcode;
    if (parts_.size() + size > kLargestMessage) return false;
    parts_.append(reinterpret_cast<const char*>(payload), size);
    if (!final) return true;
    on_message(parts_opcode_ == 1 ? Kind::kText : Kind::kBinary,
               reinterpret_cast<const std::uint8_t*>(parts_.data()), parts_.size());
    parts_opcode_ = 0;
    parts_.clear();
    return true;
  }
};

}  // namespace tautline::link

#endif  // TAUTLINE_LINK_WEBSOCKET_HPP
