// Rotations and rigid motions, in the types of OpenXR. Angles in radians; quaternions are unit.
#ifndef TAUTLINE_OPENXR_RIGID_HPP
#define TAUTLINE_OPENXR_RIGID_HPP

#include <cmath>

#include <openxr/openxr.h>

namespace tautline::layer {

inline XrVector3f operator+(XrVector3f a, XrVector3f b) { return {a.x + b.x, a.y + b.y, a.z + b.z}; }
inline XrVector3f operator-(XrVector3f a, XrVector3f b) { return {a.x - b.x, a.y - b.y, a.z - b.z}; }
inline XrVector3f operator*(float s, XrVector3f a) { return {s * a.x, s * a.y, s * a.z}; }
inline XrVector3f cross(XrVector3f a, XrVector3f b) {
  return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
inline float dot(XrVector3f a, XrVector3f b) { return a.x * b.x + a.y * b.y + a.z * b.z; }

constexpr XrPosef kIdentity{{0, 0, 0, 1}, {0, 0, 0}};

inline XrQuaternionf operator*(XrQuaternionf a, XrQuaternionf b) {
  return {a.w * b.x + a.x * b.w + a.y * b.z - a.z * b.y, a.w * b.y + a.y * b.w + a.z * b.x - a.x * b.z,
          a.w * b.z + a.z * b.w + a.x * b.y - a.y * b.x, a.w * b.w - a.x * b.x - a.y * b.y - a.z * b.z};
}
inline XrQuaternionf conjugate(XrQuaternionf q) { return {-q.x, -q.y, -q.z, q.w}; }

/// v + 2 u × (u × v + w v), u the vector part.
inline XrVector3f rotate(XrQuaternionf q, XrVector3f v) {
  const XrVector3f u{q.x, q.y, q.z};
  const XrVector3f c = cross(u, v) + q.w * v;
  return v + 2.0f * cross(u, c);
}

inline XrQuaternionf normalised(XrQuaternionf q) {
  const float s = 1.0f / std::sqrt(q.x * q.x + q.y * q.y + q.z * q.z + q.w * q.w);
  return {s * q.x, s * q.y, s * q.z, s * q.w};
}

/// A pose given in the frame of `a`, seen from outside.
inline XrPosef operator*(const XrPosef& a, const XrPosef& b) {
  return {a.orientation * b.orientation, a.position + rotate(a.orientation, b.position)};
}
inline XrPosef inverse(const XrPosef& a) {
  const XrQuaternionf q = conjugate(a.orientation);
  return {q, rotate(q, -1.0f * a.position)};
}

/// The rotation whose axes are the given unit vectors, which are at right angles and right-handed.
inline XrQuaternionf from_axes(XrVector3f x, XrVector3f y, XrVector3f z) {
  // Shepperd's method: the largest of the four is found from the trace, the others from it.
  const float trace = x.x + y.y + z.z;
  XrQuaternionf q;
  if (trace > 0) q = {y.z - z.y, z.x - x.z, x.y - y.x, 1 + trace};
  else if (x.x > y.y && x.x > z.z) q = {1 + x.x - y.y - z.z, x.y + y.x, z.x + x.z, y.z - z.y};
  else if (y.y > z.z) q = {x.y + y.x, 1 - x.x + y.y - z.z, y.z + z.y, z.x - x.z};
  else q = {z.x + x.z, y.z + z.y, 1 - x.x - y.y + z.z, x.y - y.x};
  return normalised(q);
}

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_RIGID_HPP
