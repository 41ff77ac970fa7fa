// The binary `joints` record of the stream (docs/protocol.md): fixed, little-endian. Nothing here allocates or throws.
#ifndef TAUTLINE_LINK_RECORD_HPP
#define TAUTLINE_LINK_RECORD_HPP

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstring>

namespace tautline::link {

constexpr int kJoints = 26;
constexpr int kFingers = 5;

/// What the stream says of a finger.
enum class Finger : std::uint8_t { kInvalid = 0, kInferred = 1, kTracked = 2 };

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
struct JointsRecord {
  std::uint8_t hand;  ///< 0 left, 1 right
  bool valid;         ///< false: the glove is silent, this is the last known pose
  bool world;         ///< false: the wrist is the origin
  bool has_velocities;
  bool has_pressures;
  bool recorded;        ///< a session is replayed: it is no hand of now
  std::uint32_t seq;
  double time_us;  ///< of the sample, on the service's clock
  Finger fingers[kFingers];
  Joint joints[kJoints];
  JointVelocity velocities[kJoints];  ///< zeros unless has_velocities
  float pressures[kFingers];          ///< thumb first, 0..1; zeros unless has_pressures: if subscribed with surface
};

namespace detail {

inline std::uint32_t u32(const std::uint8_t* p) {
  return std::uint32_t(p[0]) | std::uint32_t(p[1]) << 8 | std::uint32_t(p[2]) << 16 | std::uint32_t(p[3]) << 24;
}
inline unsigned u16(const std::uint8_t* p) { return unsigned(p[0]) | unsigned(p[1]) << 8; }
inline float f32(const std::uint8_t* p) {
  const std::uint32_t bits = u32(p);
  float value;
  std::memcpy(&value, &bits, sizeof value);
  return value;
}
inline double f64(const std::uint8_t* p) {
  const std::uint64_t bits = std::uint64_t(u32(p)) | std::uint64_t(u32(p + 4)) << 32;
  double value;
  std::memcpy(&value, &bits, sizeof value);
  return value;
}

/// @return false if a number is not finite, or larger than any scene (1e8)
inline bool read_floats(const std::uint8_t*& at, float* to, int count) {
  for (int i = 0; i < count; i++, at += 4) {
    to[i] = f32(at);
    if (!(std::fabs(to[i]) <= 1e8f)) return false;
  }
  return true;
}

inline bool normalise(float (&q)[4]) {
  const float length = std::sqrt(q[0] * q[0] + q[1] * q[1] + q[2] * q[2] + q[3] * q[3]);
  if (!(length > 0.5f && length < 2)) return false;
  for (float& x : q) x /= length;
  return true;
}

}  // namespace detail

/// Reads a record, whoever sent it: false for anything that is not a whole record of finite numbers.
inline bool read_joints(const std::uint8_t* bytes, std::size_t size, JointsRecord& record) {
  using namespace detail;
  constexpr std::size_t kHead = 20, kPoses = kJoints * 8 * 4, kVelocities = kJoints * 6 * 4;
  if (size < kHead + kPoses || bytes[0] != 1 || bytes[1] > 1 || bytes[3] != kJoints) return false;
  record.hand = bytes[1];
  record.valid = (bytes[2] & 1) != 0;
  record.has_velocities = (bytes[2] & 2) != 0;
  record.has_pressures = (bytes[2] & 8) != 0;
  record.world = (bytes[2] & 4) != 0;
  record.recorded = (bytes[2] & 16) != 0;
  record.seq = u32(bytes + 4);
  record.time_us = f64(bytes + 8);
  if (!(std::fabs(record.time_us) <= 1e17)) return false;
  const std::size_t more = (record.has_velocities ? kVelocities : 0) + (record.has_pressures ? kFingers * 4 : 0);
  if (size != kHead + kPoses + more + u16(bytes + 18)) return false;
  for (int finger = 0; finger < kFingers; finger++) {
    const unsigned state = u16(bytes + 16) >> (2 * finger) & 3;
    record.fingers[finger] = state < 3 ? static_cast<Finger>(state) : Finger::kInvalid;
  }
  const std::uint8_t* at = bytes + kHead;
  for (Joint& joint : record.joints) {
    if (!read_floats(at, joint.position, 3) || !read_floats(at, joint.orientation, 4) ||
        !read_floats(at, &joint.radius, 1) || !normalise(joint.orientation) || !(joint.radius > 0)) {
      return false;
    }
  }
  for (JointVelocity& velocity : record.velocities) {
    if (!record.has_velocities) velocity = JointVelocity{};
    else if (!read_floats(at, velocity.linear, 3) || !read_floats(at, velocity.angular, 3)) return false;
  }
  for (float& pressure : record.pressures) {
    if (!record.has_pressures) pressure = 0;
    else if (!read_floats(at, &pressure, 1)) return false;
  }
  return true;
}

}  // namespace tautline::link

#endif  // TAUTLINE_LINK_RECORD_HPP
