#include "hand-sample.hpp"

#include <algorithm>
#include <iterator>

namespace tautline::layer {
namespace {

constexpr int kPalmJoint = XR_HAND_JOINT_PALM_EXT;
constexpr int kWristJoint = XR_HAND_JOINT_WRIST_EXT;
constexpr int kThumb = XR_HAND_JOINT_THUMB_METACARPAL_EXT;
constexpr int kIndex = XR_HAND_JOINT_INDEX_METACARPAL_EXT;

/// Metacarpals hang on the wrist, as the palm does; every other joint on the one before it.
constexpr bool begins_finger(int joint) {
  return joint == kPalmJoint || joint == kThumb || (joint >= kIndex && (joint - kIndex) % 5 == 0);
}
constexpr int finger_of(int joint) { return joint < kThumb ? -1 : joint < kIndex ? 0 : 1 + (joint - kIndex) / 5; }

/// The rotation by a rotation vector; exact to 1e-7 up to some 3 rad, which is more than 50 ms of any finger's.
XrQuaternionf turn_by(XrVector3f v) {
  const float h2 = 0.25f * dot(v, v);
  if (h2 > 4) {
    const float h = std::sqrt(h2), s = 0.5f * std::sin(h) / h;
    return {s * v.x, s * v.y, s * v.z, std::cos(h)};
  }
  // sin(h)/h and cos(h) as series in h²: no call, and the compiler may do several at once.
  const float s = 0.5f * (1 + h2 * (-1.f / 6 + h2 * (1.f / 120 + h2 * (-1.f / 5040 + h2 * (1.f / 362880 -
                  h2 / 39916800)))));
  const float c = 1 + h2 * (-1.f / 2 + h2 * (1.f / 24 + h2 * (-1.f / 720 + h2 * (1.f / 40320 +
                  h2 * (-1.f / 3628800 + h2 / 479001600)))));
  return {s * v.x, s * v.y, s * v.z, c};
}

XrPosef grip_of(Side side, const JointState& palm) {
  // Right: X = +Y, Y = +Z, Z = +X of the palm joint; left: X = -Y, Y = +Z, Z = -X.
  const XrQuaternionf turn = side == kRight ? XrQuaternionf{0.5f, 0.5f, 0.5f, 0.5f}
                                            : XrQuaternionf{0.5f, -0.5f, -0.5f, 0.5f};
  const XrVector3f dorsal = rotate(palm.pose.orientation, {0, 1, 0});
  return {palm.pose.orientation * turn, palm.pose.position - palm.radius * dorsal};
}

XrVector3f middle(XrVector3f a, XrVector3f b) { return 0.5f * (a + b); }

/// A unit vector along v, or the other when v has no direction.
XrVector3f unit(XrVector3f v, XrVector3f otherwise) {
  const float length = std::sqrt(dot(v, v));
  return length > 1e-6f ? (1 / length) * v : otherwise;
}

XrPosef pinch_of(Side side, const JointState (&joints)[kJoints]) {
  const XrVector3f at = middle(joints[XR_HAND_JOINT_THUMB_TIP_EXT].pose.position,
                               joints[XR_HAND_JOINT_INDEX_TIP_EXT].pose.position);
  const XrVector3f knuckles = middle(joints[XR_HAND_JOINT_THUMB_PROXIMAL_EXT].pose.position,
                                     joints[XR_HAND_JOINT_INDEX_PROXIMAL_EXT].pose.position);
  const XrQuaternionf palm = joints[kPalmJoint].pose.orientation;
  const XrVector3f z = unit(knuckles - at, rotate(palm, {0, 0, 1}));
  // The thumb's side is up when the palms face each other.
  const XrVector3f up = rotate(palm, {side == kRight ? -1.f : 1.f, 0, 0});
  const XrVector3f x = unit(cross(up, z), rotate(palm, {0, side == kRight ? 1.f : -1.f, 0}));
  return {from_axes(x, cross(z, x), z), at};
}

}  // namespace

XrPosef usual_mount(Side side, const JointState& palm) { return inverse(grip_of(side, palm)); }

void make_sample(const link::JointsRecord& record, HandSample& sample) {
  sample = HandSample{};
  sample.time_us = record.time_us;
  sample.valid = record.valid;
  std::copy(std::begin(record.fingers), std::end(record.fingers), sample.fingers);
  const auto pose_of = [](const link::Joint& joint) {
    return XrPosef{{joint.orientation[0], joint.orientation[1], joint.orientation[2], joint.orientation[3]},
                   {joint.position[0], joint.position[1], joint.position[2]}};
  };
  const auto vector_of = [](const float (&v)[3]) { return XrVector3f{v[0], v[1], v[2]}; };
  const XrPosef wrist = pose_of(record.joints[kWristJoint]);
  const XrQuaternionf back = conjugate(wrist.orientation);
  const XrVector3f linear = vector_of(record.velocities[kWristJoint].linear);
  const XrVector3f angular = vector_of(record.velocities[kWristJoint].angular);
  for (int i = 0; i < kJoints; i++) {
    JointState& joint = sample.joints[i];
    const XrPosef pose = pose_of(record.joints[i]);
    const XrVector3f arm = pose.position - wrist.position;
    joint.pose = {back * pose.orientation, rotate(back, arm)};
    joint.radius = record.joints[i].radius;
    joint.linear = rotate(back, vector_of(record.velocities[i].linear) - linear - cross(angular, arm));
    joint.angular = rotate(back, vector_of(record.velocities[i].angular) - angular);
  }
  sample.joints[kWristJoint].pose = kIdentity;
  sample.mount = usual_mount(static_cast<Side>(record.hand), sample.joints[kPalmJoint]);
}

void carry_ahead(const HandSample& sample, float ahead_s, JointState (&into)[kJoints]) {
  const JointState(&from)[kJoints] = sample.joints;
  const float seconds = std::min(ahead_s, kMaxAheadS);
  if (!(seconds > 0)) {
    std::copy(std::begin(from), std::end(from), into);
    return;
  }
  XrQuaternionf turns[kJoints];
  for (int i = 0; i < kJoints; i++) turns[i] = turn_by(seconds * from[i].angular);
  into[kWristJoint] = from[kWristJoint];
  for (int i = 0; i < kJoints; i++) {
    if (i == kWristJoint) continue;
    into[i] = from[i];
    into[i].pose.orientation = turns[i] * from[i].pose.orientation;
    // The wrist is the origin and does not turn.
    if (begins_finger(i)) continue;
    const XrVector3f bone = rotate(turns[i - 1], from[i].pose.position - from[i - 1].pose.position);
    into[i].pose.position = into[i - 1].pose.position + bone;
    // As the bone lies now, so that positions move as their velocities say.
    into[i].linear = into[i - 1].linear + cross(from[i - 1].angular, bone);
  }
}

void put_on_wrist(const JointState (&joints)[kJoints], const link::Finger (&fingers)[8], const Wrist& wrist,
                  XrHandJointLocationEXT* locations, XrHandJointVelocityEXT* velocities) {
  const XrQuaternionf turn = wrist.pose.orientation;
  // Columns of the rotation: a third of the work of turning each vector by the quaternion.
  const XrVector3f x = rotate(turn, {1, 0, 0}), y = rotate(turn, {0, 1, 0}), z = cross(x, y);
  const auto turned = [&](XrVector3f v) { return v.x * x + (v.y * y + v.z * z); };
  for (int i = 0; i < kJoints; i++) {
    const JointState& joint = joints[i];
    const int finger = finger_of(i);
    const bool sensed = finger < 0 || fingers[finger] == link::Finger::kTracked;
    const XrVector3f arm = turned(joint.pose.position);
    locations[i].locationFlags = kValid | (wrist.tracked && sensed ? kTracked : 0);
    locations[i].pose.orientation = normalised(turn * joint.pose.orientation);
    locations[i].pose.position = wrist.pose.position + arm;
    locations[i].radius = joint.radius;
    if (velocities == nullptr) continue;
    velocities[i].velocityFlags = wrist.has_velocity ? kMoving : 0;
    velocities[i].linearVelocity =
        wrist.has_velocity ? wrist.linear + cross(wrist.angular, arm) + turned(joint.linear) : XrVector3f{};
    velocities[i].angularVelocity = wrist.has_velocity ? wrist.angular + turned(joint.angular) : XrVector3f{};
  }
}

XrPosef input_pose(Side side, InputPose which, const JointState (&joints)[kJoints]) {
  const JointState& palm = joints[kPalmJoint];
  switch (which) {
    case InputPose::kGrip: return grip_of(side, palm);
    case InputPose::kPalm: return grip_of(side, palm);
    case InputPose::kAim:
      return {palm.pose.orientation, middle(joints[XR_HAND_JOINT_THUMB_PROXIMAL_EXT].pose.position,
                                            joints[XR_HAND_JOINT_INDEX_PROXIMAL_EXT].pose.position)};
    case InputPose::kPinch: return pinch_of(side, joints);
    case InputPose::kPoke: {
      const JointState& tip = joints[XR_HAND_JOINT_INDEX_TIP_EXT];
      const XrVector3f distal = rotate(tip.pose.orientation, {0, 0, -1});
      return {tip.pose.orientation, tip.pose.position + tip.radius * distal};
    }
  }
  return kIdentity;
}

}  // namespace tautline::layer
