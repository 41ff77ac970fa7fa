// A client for the Tautline stream in one header: C++17, standard library and POSIX sockets.
//
//   tautline::Client client("127.0.0.1", 7117);
//   client.send(R"({"type":"subscribe","streams":["joints"]})");
//   tautline::Message message;
//   while (client.next(message)) {
//     if (message.is_pose) use(message.pose.joints[tautline::joint_index("index-finger-tip")]);
//   }
//
// It reads the binary form of the poses; everything else comes as JSON text, to be read by whatever the program
// reads JSON with. Requests that expire (touch, resist) are the caller's to renew, at least every 200 ms: the
// service forgets them after 250 ms, so that a program that hangs holds no finger.
// Trouble is a std::runtime_error with one line that says what is wrong.
#ifndef TAUTLINE_CLIENT_HPP
#define TAUTLINE_CLIENT_HPP

#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <random>
#include <stdexcept>
#include <string>

namespace tautline {

constexpr int kJointCount = 26;

/// In the order of the poses: OpenXR's, with WebXR's names.
inline constexpr const char* kJointNames[kJointCount] = {
    "palm", "wrist",
    "thumb-metacarpal", "thumb-phalanx-proximal", "thumb-phalanx-distal", "thumb-tip",
    "index-finger-metacarpal", "index-finger-phalanx-proximal", "index-finger-phalanx-intermediate",
    "index-finger-phalanx-distal", "index-finger-tip",
    "middle-finger-metacarpal", "middle-finger-phalanx-proximal", "middle-finger-phalanx-intermediate",
    "middle-finger-phalanx-distal", "middle-finger-tip",
    "ring-finger-metacarpal", "ring-finger-phalanx-proximal", "ring-finger-phalanx-intermediate",
    "ring-finger-phalanx-distal", "ring-finger-tip",
    "pinky-finger-metacarpal", "pinky-finger-phalanx-proximal", "pinky-finger-phalanx-intermediate",
    "pinky-finger-phalanx-distal", "pinky-finger-tip"};

/// Index of a joint, or -1 for a name that is none.
inline int joint_index(const char* name) {
  for (int i = 0; i < kJointCount; i++) {
    if (std::strcmp(kJointNames[i], name) == 0) return i;
  }
  return -1;
}

enum class Hand : std::uint8_t { kLeft = 0, kRight = 1 };
enum class FingerState : std::uint8_t { kInvalid = 0, kInferred = 1, kTracked = 2 };

struct Joint {
  float position[3];     ///< m
  float orientation[4];  ///< unit quaternion x y z w
  float radius;          ///< from the joint to the skin, m
};
struct JointVelocity {
  float linear[3];   ///< m/s
  float angular[3];  ///< rad/s
};

/// One pose of one hand.
struct Pose {
  Hand hand = Hand::kRight;
  std::uint32_t seq = 0;     ///< a gap is a pose dropped because this program was slow
  double time_us = 0;        ///< of the sample, on the service's clock
  double pose_time_us = 0;   ///< what the pose is for: time_us, or later where it is predicted
  bool world = false;        ///< false: the wrist is the origin
  bool valid = false;        ///< false: the glove is silent, this is the last known pose
  bool recorded = false;     ///< a session is replayed: it is no hand of now
  bool has_velocities = false;
  bool has_pressures = false;
  std::string reason;        ///< why not valid
  std::array<FingerState, 5> fingers{};  ///< thumb first
  std::array<Joint, kJointCount> joints{};
  std::array<JointVelocity, kJointCount> velocities{};
  std::array<float, 5> pressures{};  ///< thumb first, 0..1, if subscribed with surface
};

struct Message {
  bool is_pose = false;
  Pose pose;         ///< if is_pose
  std::string json;  ///< else
};

namespace detail {

inline std::uint32_t u32(const unsigned char* p) {
  return std::uint32_t(p[0]) | std::uint32_t(p[1]) << 8 | std::uint32_t(p[2]) << 16 | std::uint32_t(p[3]) << 24;
}
inline unsigned u16(const unsigned char* p) { return unsigned(p[0]) | unsigned(p[1]) << 8; }
inline float f32(const unsigned char* p) {
  const std::uint32_t bits = u32(p);
  float value;
  std::memcpy(&value, &bits, sizeof value);
  return value;
}
inline double f64(const unsigned char* p) {
  const std::uint64_t bits = std::uint64_t(u32(p)) | std::uint64_t(u32(p + 4)) << 32;
  double value;
  std::memcpy(&value, &bits, sizeof value);
  return value;
}

}  // namespace detail

/// Reads a binary record. False if it is none.
inline bool decode_pose(const std::string& bytes, Pose& pose) {
  using namespace detail;
  constexpr std::size_t kHead = 20, kPoses = kJointCount * 8 * 4, kVelocities = kJointCount * 6 * 4;
  const auto* p = reinterpret_cast<const unsigned char*>(bytes.data());
  if (bytes.size() < kHead + kPoses || p[0] != 1 || p[1] > 1 || p[3] != kJointCount) return false;
  pose.hand = static_cast<Hand>(p[1]);
  pose.valid = (p[2] & 1) != 0;
  pose.has_velocities = (p[2] & 2) != 0;
  pose.world = (p[2] & 4) != 0;
  pose.recorded = (p[2] & 16) != 0;
  pose.seq = u32(p + 4);
  pose.time_us = f64(p + 8);
  pose.pose_time_us = pose.time_us + 1000.0 * (u16(p + 16) >> 10);
  pose.has_pressures = (p[2] & 8) != 0;
  const std::size_t end = kHead + kPoses + (pose.has_velocities ? kVelocities : 0) + (pose.has_pressures ? 5 * 4 : 0);
  if (bytes.size() != end + u16(p + 18) || !(std::fabs(pose.time_us) <= 1e17)) return false;
  // A float whose exponent is all ones is no number.
  for (std::size_t i = kHead; i < end; i += 4) {
    if ((u16(p + i + 2) & 0x7f80) == 0x7f80) return false;
  }
  for (int finger = 0; finger < 5; finger++) {
    const unsigned state = u16(p + 16) >> (2 * finger) & 3;
    pose.fingers[finger] = state < 3 ? static_cast<FingerState>(state) : FingerState::kInvalid;
  }
  const unsigned char* at = p + kHead;
  for (Joint& joint : pose.joints) {
    for (float& x : joint.position) { x = f32(at); at += 4; }
    for (float& x : joint.orientation) { x = f32(at); at += 4; }
    joint.radius = f32(at);
    at += 4;
  }
  if (pose.has_velocities) {
    for (JointVelocity& velocity : pose.velocities) {
      for (float& x : velocity.linear) { x = f32(at); at += 4; }
      for (float& x : velocity.angular) { x = f32(at); at += 4; }
    }
  }
  if (pose.has_pressures) {
    for (float& x : pose.pressures) { x = f32(at); at += 4; }
  }
  pose.reason = bytes.substr(end);
  return true;
}

/// One connection. Not to be shared between threads.
class Client {
 public:
  /// Connects. @param token if the service wants one. @param timeout_s longest silence before next() gives up
  explicit Client(const std::string& host = "127.0.0.1", int port = 7117, const std::string& token = "",
                  int timeout_s = 10) {
    open(host, port, timeout_s);
    try {
      shake_hands(host, port, token);
    } catch (...) {
      ::close(socket_);
      throw;
    }
  }
  ~Client() {
    if (socket_ < 0) return;
    try {
      frame(8, std::string("\x03\xe8", 2));
    } catch (const std::exception&) {
    }
    ::close(socket_);
  }
  Client(const Client&) = delete;
  Client& operator=(const Client&) = delete;

  /// Sends a request: JSON text as docs/protocol.md has it.
  void send(const std::string& json) { frame(1, json); }

  /// Waits for the next message. False when the service said goodbye.
  bool next(Message& message) {
    std::string whole;
    int kind = 0;
    for (;;) {
      const std::string head = take(2);
      const int opcode = head[0] & 15;
      std::uint64_t length = head[1] & 127;
      if (length >= 126) {
        const std::string more = take(length == 126 ? 2 : 8);
        length = 0;
        for (const char c : more) length = length << 8 | static_cast<unsigned char>(c);
      }
      if (length > kLargest || (head[1] & 0x80) != 0) throw std::runtime_error("a frame that no service sends");
      const std::string payload = take(static_cast<std::size_t>(length));
      if (opcode == 8) return false;
      if (opcode == 9) frame(10, payload);
      if (opcode > 2) continue;
      if (opcode != 0) kind = opcode;
      if (whole.size() + payload.size() > kLargest) throw std::runtime_error("a frame that no service sends");
      whole += payload;
      if ((head[0] & 0x80) == 0) continue;
      message.is_pose = kind == 2;
      if (!message.is_pose) message.json = whole;
      else if (!decode_pose(whole, message.pose)) throw std::runtime_error("a record of another kind");
      return true;
    }
  }

 private:
  static constexpr std::uint64_t kLargest = 1 << 20;
  int socket_ = -1;
  std::string buffer_;
  std::mt19937 random_{std::random_device{}()};

  void open(const std::string& host, int port, int timeout_s) {
    addrinfo hints{};
    hints.ai_socktype = SOCK_STREAM;
    addrinfo* found = nullptr;
    const int error = getaddrinfo(host.c_str(), std::to_string(port).c_str(), &hints, &found);
    if (error != 0) throw std::runtime_error(host + ": " + gai_strerror(error));
    int why = 0;
    for (const addrinfo* each = found; each != nullptr; each = each->ai_next) {
      socket_ = ::socket(each->ai_family, each->ai_socktype, each->ai_protocol);
      if (socket_ < 0) continue;
      if (::connect(socket_, each->ai_addr, each->ai_addrlen) == 0) break;
      why = errno;
      ::close(socket_);
      socket_ = -1;
    }
    freeaddrinfo(found);
    if (socket_ < 0) {
      throw std::runtime_error("no service answers at " + host + ":" + std::to_string(port) + ": " +
                               std::strerror(why));
    }
    const int on = 1;
    setsockopt(socket_, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    const timeval timeout{timeout_s, 0};
    setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &timeout, sizeof timeout);
  }

  // RFC 6455, 4.1. The key is sent for form: what answers on a port of one's own choice is trusted to be the service.
  void shake_hands(const std::string& host, int port, const std::string& token) {
    write("GET /stream HTTP/1.1\r\nHost: " + host + ":" + std::to_string(port) +
          "\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: " + key() +
          "\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Protocol: tautline.binary.v1\r\n" +
          (token.empty() ? "" : "Authorization: Bearer " + token + "\r\n") + "\r\n");
    std::size_t end;
    while ((end = buffer_.find("\r\n\r\n")) == std::string::npos) {
      if (buffer_.size() > 16384) throw std::runtime_error("this is not a WebSocket service");
      receive();
    }
    const std::string status = buffer_.substr(0, buffer_.find("\r\n"));
    if (status.find(" 101") == std::string::npos) throw std::runtime_error("the service refused: " + status);
    buffer_.erase(0, end + 4);
  }

  std::string key() {
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string text;
    for (int i = 0; i < 21; i++) text += digits[random_() & 63];
    return text + "A==";  // 16 bytes: the last digit carries two bits
  }

  void frame(int opcode, const std::string& payload) {
    std::string bytes(1, static_cast<char>(0x80 | opcode));
    const std::size_t length = payload.size();
    if (length < 126) bytes += static_cast<char>(0x80 | length);
    else if (length < 65536) {
      bytes += static_cast<char>(0x80 | 126);
      bytes += static_cast<char>(length >> 8);
      bytes += static_cast<char>(length);
    } else throw std::runtime_error("the request is too long");
    const std::uint32_t random = static_cast<std::uint32_t>(random_());
    char mask[4];
    std::memcpy(mask, &random, 4);
    bytes.append(mask, 4);
    for (std::size_t i = 0; i < length; i++) bytes += static_cast<char>(payload[i] ^ mask[i & 3]);
    write(bytes);
  }

  void write(const std::string& bytes) {
    std::size_t sent = 0;
    while (sent < bytes.size()) {
      const ssize_t count = ::send(socket_, bytes.data() + sent, bytes.size() - sent, MSG_NOSIGNAL);
      if (count < 0 && errno == EINTR) continue;
      if (count < 0) throw std::runtime_error(std::string("the connection ended: ") + std::strerror(errno));
      sent += static_cast<std::size_t>(count);
    }
  }

  void receive() {
    char chunk[16384];
    ssize_t count;
    do count = ::recv(socket_, chunk, sizeof chunk, 0);
    while (count < 0 && errno == EINTR);
    if (count < 0) throw std::runtime_error(std::string("nothing came: ") + std::strerror(errno));
    if (count == 0) throw std::runtime_error("the connection ended");
    buffer_.append(chunk, static_cast<std::size_t>(count));
  }

  std::string take(std::size_t count) {
    while (buffer_.size() < count) receive();
    std::string taken = buffer_.substr(0, count);
    buffer_.erase(0, count);
    return taken;
  }
};

}  // namespace tautline

#endif  // TAUTLINE_CLIENT_HPP
