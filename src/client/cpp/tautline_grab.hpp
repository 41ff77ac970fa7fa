// When a thing is grabbed, held and let go, and where it is meanwhile: C++17, for programs that use tautline_loop.hpp.
// The clients in other languages do the same, by the same test vectors.
//
//   tautline::Grab grab(glove, 1, tautline::Shape::sphere(0.035f));
//   for (;;) {                                  // each frame
//     glove.poll();
//     if (grab.update(ball) == tautline::GrabEvent::kLetGo) fly(grab.velocity());
//     if (grab.state() != tautline::GrabState::kHeld) physics(ball);
//   }
//
// The thing is felt as soon as the hand comes near and the wearer has armed the glove, and it can be taken while the glove
// is disarmed, too, without force. It is let go when the fingers open, and when the hand or the connection is lost.
// After the first frames nothing is allocated.
#ifndef TAUTLINE_GRAB_HPP
#define TAUTLINE_GRAB_HPP

#include <chrono>
#include <cmath>
#include <cstdint>
#include <string>

#include "tautline_loop.hpp"
#include "tautline_shapes.hpp"

namespace tautline {

/// away: out of reach. near: it is touched. held: it follows the palm.
enum class GrabState { kAway, kNear, kHeld };
enum class GrabEvent { kNone, kGrabbed, kLetGo };

/// A place and a turn, in the space of the hand's poses: metres, OpenXR's axes.
struct RigidPose {
  Vec3 position;
  Quat orientation;

  /// b as seen from outside, if it is given in the frame of a.
  friend RigidPose operator*(const RigidPose& a, const RigidPose& b) {
    return {a.position + a.orientation.rotate(b.position), a.orientation * b.orientation};
  }
  RigidPose inverse() const {
    const Quat q = orientation.normalised();
    const Quat back{-q.x, -q.y, -q.z, q.w};
    return {back.rotate(position * -1.0f), back};
  }
};

/// The rule itself: no connection, no clock.
class GrabCore {
 public:
  /// The thing is touched from when a joint is this near to its bounding sphere, until every joint is that far from it, m.
  static constexpr float kNearM = 0.1f, kAwayM = 0.15f;
  /// How long a thing stays held that is not carried, while two fingers or more are still at it.
  static constexpr double kSlipsAfterMs = 100;
  /// A hand that gives no new pose for so long is lost.
  static constexpr double kLostAfterMs = 250;

  /// Radius of a sphere around the thing's origin that encloses it, m.
  float reach;
  GrabState state = GrabState::kAway;
  /// Where the thing is: as it was given, or with the hand.
  RigidPose object;
  /// While held: where it is in the palm's frame.
  RigidPose in_palm;
  /// What it had when it was last let go, m/s and rad/s; zeros where the hand was lost or velocities are not known.
  Vec3 velocity, angular_velocity;

  explicit GrabCore(float reach_m) : reach(reach_m) {}

  /// One frame. @param now_ms on any clock that does not go back. @param hand the newest pose. @param carried and fingers:
  /// what `gestures.touches` says of the thing. @param thing where the app has it, if it is not held
  GrabEvent update(double now_ms, const link::JointsRecord& hand, bool carried, int fingers, const RigidPose& thing) {
    if (hand.seq != seq_ || seen_ms_ < 0) {
      seq_ = hand.seq;
      seen_ms_ = now_ms;
    }
    if (!hand.valid || now_ms - seen_ms_ > kLostAfterMs) return lose(thing);
    if (!carried) must_open_ = false;
    const RigidPose palm = pose_of(hand.joints[0]);
    if (state == GrabState::kHeld) return follow(now_ms, palm, hand, carried, fingers);
    object = thing;
    state = distance(hand) < (state == GrabState::kNear ? kAwayM : kNearM) ? GrabState::kNear : GrabState::kAway;
    if (state == GrabState::kAway || !carried || must_open_) return GrabEvent::kNone;
    in_palm = palm.inverse() * object;
    state = GrabState::kHeld;
    slips_ms_ = -1;
    return GrabEvent::kGrabbed;
  }

  /// Lets go for the app's own reasons: the hand has to open before it grabs again.
  void drop() {
    if (state == GrabState::kHeld) state = GrabState::kNear;
    must_open_ = true;
    velocity = angular_velocity = {};
  }

 private:
  std::uint32_t seq_ = 0;
  double seen_ms_ = -1, slips_ms_ = -1;  // -1: not
  bool must_open_ = false;

  static RigidPose pose_of(const link::Joint& joint) {
    const float *p = joint.position, *q = joint.orientation;
    return {{p[0], p[1], p[2]}, {q[0], q[1], q[2], q[3]}};
  }

  GrabEvent lose(const RigidPose& thing) {
    const bool held = state == GrabState::kHeld;
    // What is dropped stays where it was last.
    if (!held) object = thing;
    state = GrabState::kAway;
    velocity = angular_velocity = {};
    return held ? GrabEvent::kLetGo : GrabEvent::kNone;
  }

  GrabEvent follow(double now_ms, const RigidPose& palm, const link::JointsRecord& hand, bool carried, int fingers) {
    object = palm * in_palm;
    if (carried) {
      slips_ms_ = -1;
      return GrabEvent::kNone;
    }
    if (slips_ms_ < 0) slips_ms_ = now_ms;
    // One finger holds nothing. Two that have just lost their opposition may find it again.
    if (fingers >= 2 && now_ms - slips_ms_ < kSlipsAfterMs) return GrabEvent::kNone;
    state = GrabState::kNear;
    velocity = angular_velocity = {};
    if (hand.has_velocities) {
      const float *v = hand.velocities[0].linear, *w = hand.velocities[0].angular;
      const Vec3 r = object.position + palm.position * -1.0f;
      // As a part of the palm: v + w x r.
      velocity = {v[0] + w[1] * r.z - w[2] * r.y, v[1] + w[2] * r.x - w[0] * r.z, v[2] + w[0] * r.y - w[1] * r.x};
      angular_velocity = {w[0], w[1], w[2]};
    }
    return GrabEvent::kLetGo;
  }

  /// From the nearest joint to the sphere around the thing; negative inside.
  float distance(const link::JointsRecord& hand) const {
    float least = INFINITY;
    for (const link::Joint& joint : hand.joints) {
      const float x = joint.position[0] - object.position.x, y = joint.position[1] - object.position.y,
                  z = joint.position[2] - object.position.z;
      least = std::fmin(least, x * x + y * y + z * z);
    }
    return std::sqrt(least) - reach;
  }
};

/// How a thing feels; what is below 0 is the service's to choose.
struct GrabFeel {
  float effort = 1;      ///< part of the permitted maximum, 0..1
  float stiffness = -1;  ///< N/m at the surface; hard when not given
  float friction = -1;   ///< coefficient
};

/// One thing that one hand can take.
class Grab {
 public:
  /// @param side 0 left, 1 right. @param shape must be ok(); in the stream's metres, where it is in the thing: what
  ///   Colliders give for a placement at zero that has the thing's scale
  Grab(Loop& loop, int side, const PlacedShape& shape, GrabFeel feel = {})
      : loop_(loop), side_(side), shape_(shape), feel_(feel), core_(Shape::norm(shape.position) + shape.shape.reach()) {}
  /// The shape lies around the origin of the thing.
  Grab(Loop& loop, int side, const Shape& shape, GrabFeel feel = {}) : Grab(loop, side, PlacedShape{shape, {}, {}}, feel) {}
  ~Grab() { release(); }
  Grab(const Grab&) = delete;
  Grab& operator=(const Grab&) = delete;

  GrabState state() const { return core_.state; }
  /// m/s and rad/s that it had when it was last let go; zeros when the hand was lost.
  Vec3 velocity() const { return core_.velocity; }
  Vec3 angular_velocity() const { return core_.angular_velocity; }
  /// Of Loop::hold_state; -1 while it is out of reach.
  int hold() const { return hold_; }

  /// To be called once a frame, after poll(). @param thing where it is; written to while it is held
  GrabEvent update(RigidPose& thing) {
    const LoopHand& hand = loop_.hand(side_);
    const GrabState before = core_.state;
    const LoopContact contact = loop_.contact(hold_);
    const GrabEvent event = core_.update(now_ms(), hand.pose, contact.carried, contact.fingers, thing);
    if (before == GrabState::kHeld) thing = core_.object;
    touch(hand);
    return event;
  }
  /// How the thing moves while it is not held, m/s and rad/s in the space of its pose: felt where it is rather than where it
  /// was said to be last. For things that fly; to be called whenever that changes.
  void set_velocity(Vec3 linear, Vec3 angular = {}) {
    moves_ = true;
    linear_ = linear;
    angular_ = angular;
  }
  /// Lets go for the app's own reasons; the hand has to open before it takes the thing again.
  void drop() { core_.drop(); }

 private:
  Loop& loop_;
  const int side_;
  const PlacedShape shape_;
  const GrabFeel feel_;
  GrabCore core_;
  int hold_ = -1;
  bool moves_ = false;
  Vec3 linear_, angular_;
  std::string members_, sent_;

  static double now_ms() {
    return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now().time_since_epoch()).count();
  }

  void release() {
    if (hold_ >= 0) loop_.release(hold_);
    hold_ = -1;
  }

  void touch(const LoopHand& hand) {
    if (core_.state == GrabState::kAway || !shape_.shape.ok()) return release();
    const bool held = core_.state == GrabState::kHeld;
    const RigidPose at = (held ? core_.in_palm : core_.object) * RigidPose{shape_.position, shape_.orientation};
    members_ = "\"space\":";
    members_ += held ? "\"palm\"" : hand.pose.world ? "\"world\"" : "\"wrist\"";
    // Without force it is taken also while the glove is disarmed, for the contacts that it gives.
    members_ += ",\"effort\":";
    text::number(members_, hand.armed ? feel_.effort : 0);
    if (feel_.stiffness > 0) members_ += ",\"stiffness\":", text::number(members_, feel_.stiffness);
    if (feel_.friction >= 0) members_ += ",\"friction\":", text::number(members_, feel_.friction);
    members_ += ",\"position\":";
    text::vector(members_, at.position);
    members_ += ",\"orientation\":";
    text::quaternion(members_, at.orientation);
    if (moves_) {
      // In the hand it rests.
      if (held) linear_ = angular_ = {};
      members_ += ",\"linearVelocity\":";
      text::vector(members_, linear_);
      members_ += ",\"angularVelocity\":";
      text::vector(members_, angular_);
    }
    members_ += ",\"shape\":";
    members_ += shape_.shape.json();
    if (hold_ < 0) hold_ = loop_.hold(side_, "touch", members_);
    else if (members_ != sent_) loop_.move(hold_, members_);
    sent_ = members_;
  }
};

}  // namespace tautline

#endif  // TAUTLINE_GRAB_HPP
