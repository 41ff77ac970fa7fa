// One sample of one hand, as the ring keeps it, and what is made of it: the hand at a given time, placed on a wrist.
#ifndef TAUTLINE_OPENXR_HAND_SAMPLE_HPP
#define TAUTLINE_OPENXR_HAND_SAMPLE_HPP

#include <cstdint>

#include "../client/cpp/link/record.hpp"
#include "rigid.hpp"

namespace tautline::layer {

using link::kFingers;
using link::kJoints;

enum Side : int { kLeft = 0, kRight = 1 };
constexpr int kSides = 2;
constexpr Side kBothSides[kSides] = {kLeft, kRight};

struct JointState {
  XrPosef pose;  ///< the wrist is the origin
  float radius;
  XrVector3f linear, angular;  ///< relative to the wrist, in its frame
};

struct HandSample {
  std::int64_t arrived_ns;  ///< by this machine's monotonic clock
  double time_us;           ///< of the sample, by the service's clock
  std::uint32_t valid;
  /// A mount that was measured, rather than taken from how a hand holds a controller.
  std::uint32_t mounted;
  link::Finger fingers[8];  ///< five are used
  XrPosef mount;            ///< from the grip pose of what the wrist carries to the wrist
  JointState joints[kJoints];
  std::uint32_t padding;
};
static_assert(sizeof(HandSample) % 8 == 0);

/// A wrist in some space at some time.
struct Wrist {
  XrPosef pose = kIdentity;
  XrVector3f linear{}, angular{};
  bool valid = false, tracked = false, has_velocity = false;
};

constexpr XrSpaceLocationFlags kValid = XR_SPACE_LOCATION_ORIENTATION_VALID_BIT | XR_SPACE_LOCATION_POSITION_VALID_BIT;
constexpr XrSpaceLocationFlags kTracked =
    XR_SPACE_LOCATION_ORIENTATION_TRACKED_BIT | XR_SPACE_LOCATION_POSITION_TRACKED_BIT;
constexpr XrSpaceVelocityFlags kMoving = XR_SPACE_VELOCITY_LINEAR_VALID_BIT | XR_SPACE_VELOCITY_ANGULAR_VALID_BIT;

/// Farthest that a hand is carried ahead of its sample, s: beyond it a guess looks worse than a late hand.
constexpr float kMaxAheadS = 0.05f;

/// Re-bases a record on its wrist joint, wherever its poses are, and gives it the usual mount.
void make_sample(const link::JointsRecord& record, HandSample& sample);

/// How a hand holds a controller: from the grip pose to the wrist, for a hand whose palm joint is here.
XrPosef usual_mount(Side side, const JointState& palm);

/// Carries the hand ahead by constant velocities, as src/client/prediction.ts: joints turn, bones keep their lengths.
/// @param ahead_s taken as 0..kMaxAheadS; into[] is written in full, still relative to the wrist
void carry_ahead(const HandSample& sample, float ahead_s, JointState (&into)[kJoints]);

/// Puts a hand on a wrist. @param velocities may be null
void put_on_wrist(const JointState (&joints)[kJoints], const link::Finger (&fingers)[8], const Wrist& wrist,
                  XrHandJointLocationEXT* locations, XrHandJointVelocityEXT* velocities);

/// The poses that XR_EXT_hand_interaction gives a hand.
enum class InputPose : std::uint8_t { kGrip, kAim, kPinch, kPoke, kPalm };

/// Where an input pose is, relative to the wrist.
XrPosef input_pose(Side side, InputPose which, const JointState (&joints)[kJoints]);

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_HAND_SAMPLE_HPP
