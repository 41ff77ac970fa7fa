// Shapes and axes for the Tautline stream, as engines have them: what an engine keeps as a collider becomes a shape that
// can be felt. C++17, the standard library alone; nothing here throws (but for want of memory), and it builds with
// -fno-exceptions: what cannot be says so by ok() and why().
//
//   tautline::Axes axes = tautline::Axes::left_handed_z_up();             // of the engine: here centimetres
//   tautline::Colliders colliders(axes);
//   tautline::PlacedShape ball = colliders.sphere(placement, centre, 3.5f);
#ifndef TAUTLINE_SHAPES_HPP
#define TAUTLINE_SHAPES_HPP

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <utility>

namespace tautline {

/// Three numbers: a position, a direction, a scale.
struct Vec3 {
  float x = 0, y = 0, z = 0;

  float& operator[](int axis) { return axis == 0 ? x : axis == 1 ? y : z; }
  float operator[](int axis) const { return axis == 0 ? x : axis == 1 ? y : z; }
  friend Vec3 operator+(Vec3 a, Vec3 b) { return {a.x + b.x, a.y + b.y, a.z + b.z}; }
  /// Axis by axis.
  friend Vec3 operator*(Vec3 a, Vec3 b) { return {a.x * b.x, a.y * b.y, a.z * b.z}; }
  friend Vec3 operator*(Vec3 a, float by) { return {a.x * by, a.y * by, a.z * by}; }
};

/// A unit quaternion.
struct Quat {
  float x = 0, y = 0, z = 0, w = 1;

  /// First b, then a.
  friend Quat operator*(Quat a, Quat b) {
    return {a.w * b.x + a.x * b.w + a.y * b.z - a.z * b.y, a.w * b.y - a.x * b.z + a.y * b.w + a.z * b.x,
            a.w * b.z + a.x * b.y - a.y * b.x + a.z * b.w, a.w * b.w - a.x * b.x - a.y * b.y - a.z * b.z};
  }
  Vec3 rotate(Vec3 v) const {
    const float tx = 2 * (y * v.z - z * v.y), ty = 2 * (z * v.x - x * v.z), tz = 2 * (x * v.y - y * v.x);
    return {v.x + w * tx + y * tz - z * ty, v.y + w * ty + z * tx - x * tz, v.z + w * tz + x * ty - y * tx};
  }
  /// Of length 1; the identity if it has no length.
  Quat normalised() const {
    const double length = std::sqrt(double(x) * x + double(y) * y + double(z) * z + double(w) * w);
    if (!(length > 1e-6) || !std::isfinite(length)) return {};
    return {float(x / length), float(y / length), float(z / length), float(w / length)};
  }
};

/// How an engine names directions. The stream's axes are OpenXR's: right-handed, +X right, +Y up, -Z forward, metres. An
/// engine's are given by three words: which direction of OpenXR its own x, y and z are.
class Axes {
 public:
  /// As they come: OpenXR's.
  Axes() : Axes("x", "y", "z", 1) {}
  /// @param x "x", "-x", "y", "-y", "z" or "-z": the direction of OpenXR that the engine's x points in; y and z likewise
  /// @param units_per_metre 100 for an engine that counts in centimetres
  Axes(std::string_view x, std::string_view y, std::string_view z, float units_per_metre) : units_(units_per_metre) {
    const std::string_view words[3] = {x, y, z};
    for (int axis = 0; axis < 3; axis++) {
      const std::string_view word = words[axis];
      const bool minus = word.size() == 2 && word[0] == '-';
      const char letter = word.size() == 1 || minus ? word.back() : '?';
      sign_[axis] = minus ? -1.0f : 1.0f;
      from_[axis] = letter == 'x' ? 0 : letter == 'y' ? 1 : letter == 'z' ? 2 : -1;
      ok_ = ok_ && from_[axis] >= 0;
    }
    ok_ = ok_ && from_[0] != from_[1] && from_[1] != from_[2] && from_[0] != from_[2] && units_ > 0 && std::isfinite(units_);
    if (!ok_) {
      for (int axis = 0; axis < 3; axis++) from_[axis] = axis, sign_[axis] = 1;
      units_ = 1;
    }
    const bool cyclic = (from_[0] + 1) % 3 == from_[1];
    left_handed_ = (cyclic ? 1.0f : -1.0f) * sign_[0] * sign_[1] * sign_[2] < 0;
  }
  /// X right, Y up, Z forward, metres.
  static Axes left_handed_y_up() { return {"x", "y", "-z", 1}; }
  /// X forward, Y right, Z up, centimetres.
  static Axes left_handed_z_up() { return {"-z", "x", "y", 100}; }
  /// X right, Y forward, Z up, metres.
  static Axes right_handed_z_up() { return {"x", "-z", "y", 1}; }

  /// False: the words or the units could not be, and OpenXR's axes are used.
  bool ok() const { return ok_; }
  /// Lengths of the engine in a metre.
  float units_per_metre() const { return units_; }
  bool left_handed() const { return left_handed_; }

  /// A position or a velocity.
  Vec3 to_engine(Vec3 v) const { return turned(v) * units_; }
  Vec3 to_stream(Vec3 v) const { return back(v) * (1 / units_); }
  /// A rotation.
  Quat to_engine(Quat q) const {
    // A mirrored axis of rotation, turned about the other way.
    const Vec3 v = turned({q.x, q.y, q.z}) * way();
    return {v.x, v.y, v.z, q.w};
  }
  Quat to_stream(Quat q) const {
    const Vec3 v = back({q.x, q.y, q.z}) * way();
    return {v.x, v.y, v.z, q.w};
  }
  /// An angular velocity, rad/s.
  Vec3 angular_to_engine(Vec3 v) const { return turned(v) * way(); }
  Vec3 angular_to_stream(Vec3 v) const { return back(v) * way(); }
  /// Edge lengths of a box of the engine, in the stream.
  Vec3 size_to_stream(Vec3 size) const {
    const Vec3 v = to_stream(size);
    return {std::fabs(v.x), std::fabs(v.y), std::fabs(v.z)};
  }

 private:
  // Of each engine axis: which of OpenXR's it lies along, and its sign there.
  int from_[3] = {0, 1, 2};
  float sign_[3] = {1, 1, 1};
  float units_;
  bool ok_ = true, left_handed_ = false;

  float way() const { return left_handed_ ? -1.0f : 1.0f; }
  Vec3 turned(Vec3 v) const { return {v[from_[0]] * sign_[0], v[from_[1]] * sign_[1], v[from_[2]] * sign_[2]}; }
  Vec3 back(Vec3 v) const {
    Vec3 to;
    for (int axis = 0; axis < 3; axis++) to[from_[axis]] = v[axis] * sign_[axis];
    return to;
  }
};

namespace text {

/// To a ten-millionth: a tenth of a micrometre. Not by printf, whose decimal sign depends on the program's locale.
inline void number(std::string& to, double value) {
  if (!std::isfinite(value) || std::fabs(value) >= 1e11) value = 0;
  auto whole = static_cast<std::uint64_t>(std::fabs(value) * 1e7 + 0.5);
  if (value < 0 && whole > 0) to += '-';
  char digits[24];
  int count = 0;
  for (std::uint64_t v = whole / 10000000; v > 0 || count == 0; v /= 10) digits[count++] = static_cast<char>('0' + v % 10);
  while (count > 0) to += digits[--count];
  std::uint64_t rest = whole % 10000000;
  if (rest == 0) return;
  to += '.';
  for (std::uint64_t part = 1000000; rest > 0; part /= 10) {
    to += static_cast<char>('0' + rest / part);
    rest %= part;
  }
}
inline void vector(std::string& to, Vec3 v) {
  to += '[';
  number(to, v.x), to += ',', number(to, v.y), to += ',', number(to, v.z);
  to += ']';
}
inline void quaternion(std::string& to, Quat q) {
  q = q.normalised();
  to += '[';
  number(to, q.x), to += ',', number(to, q.y), to += ',', number(to, q.z), to += ',', number(to, q.w);
  to += ']';
}

}  // namespace text

struct PlacedShape;

/// What can be touched, as the stream says it: metres, OpenXR's axes.
class Shape {
 public:
  static constexpr std::size_t kMostPoints = 256, kMostParts = 16, kMostPointsOfCompound = 512;

  /// None; not ok().
  Shape() = default;
  static Shape sphere(float radius) {
    Shape shape("sphere");
    shape.length("radius", radius);
    shape.reach_ = radius;
    return shape.closed();
  }
  /// @param size full edge lengths
  static Shape box(Vec3 size) {
    Shape shape("box");
    for (int axis = 0; axis < 3; axis++) shape.check(size[axis], "size");
    shape.json_ += ",\"size\":";
    text::vector(shape.json_, size);
    shape.reach_ = norm(size) / 2;
    return shape.closed();
  }
  /// Along its y axis. @param length between the centres of the caps
  static Shape capsule(float radius, float length) {
    Shape shape("capsule");
    shape.length("radius", radius);
    shape.length("length", length);
    shape.reach_ = radius + length / 2;
    return shape.closed();
  }
  /// Along its y axis. @param length from end to end
  static Shape cylinder(float radius, float length) {
    Shape shape("cylinder");
    shape.length("radius", radius);
    shape.length("length", length);
    shape.reach_ = norm({radius, length / 2, 0});
    return shape.closed();
  }
  /// Everything below the plane y = 0 of its pose.
  static Shape half_space() {
    Shape shape("halfSpace");
    shape.reach_ = INFINITY;
    return shape.closed();
  }
  /// The convex hull of 4 to 256 points, which must enclose a volume.
  static Shape hull(const Vec3* points, std::size_t count) {
    Shape shape("hull");
    if (count < 4 || count > kMostPoints) {
      shape.why_ = "A hull has 4 to 256 points. Simplify the mesh, or split it into convex parts.";
      return shape;
    }
    shape.json_ += ",\"points\":[";
    for (std::size_t i = 0; i < count; i++) {
      if (i > 0) shape.json_ += ',';
      text::vector(shape.json_, points[i]);
      for (int axis = 0; axis < 3; axis++) {
        if (!std::isfinite(points[i][axis])) shape.why_ = "A point of the hull is not finite.";
      }
      if (norm(points[i]) > shape.reach_) shape.reach_ = norm(points[i]);
    }
    shape.points_ = count;
    shape.json_ += ']';
    return shape.closed();
  }
  /// 1 to 16 convex parts, each where it is in the whole.
  static Shape compound(const PlacedShape* parts, std::size_t count);

  bool ok() const { return why_.empty(); }
  /// What is wrong with it, in one line; empty if nothing is.
  const std::string& why() const { return why_; }
  /// As a request has it.
  const std::string& json() const { return json_; }
  static float norm(Vec3 v) { return std::sqrt(v.x * v.x + v.y * v.y + v.z * v.z); }
  /// Radius of a sphere around its origin that encloses it, m.
  float reach() const { return reach_; }

 private:
  std::string json_, why_ = "There is no shape.";
  float reach_ = 0;
  std::size_t points_ = 0;
  bool compound_ = false;

  explicit Shape(const char* kind) : why_() { (json_ += "{\"kind\":\"") += kind, json_ += '"'; }
  Shape& closed() {
    json_ += '}';
    return *this;
  }
  void check(float metres, const char* what) {
    if (!(metres > 0 && metres <= 10)) why_ = std::string("The ") + what + " must be above 0 and at most 10 metres.";
  }
  void length(const char* what, float metres) {
    check(metres, what);
    (json_ += ",\"") += what, json_ += "\":";
    text::number(json_, metres);
  }
};

/// A shape and where it is, in the stream's metres and axes.
struct PlacedShape {
  Shape shape;
  Vec3 position;
  Quat orientation;
};

inline Shape Shape::compound(const PlacedShape* parts, std::size_t count) {
  Shape shape("compound");
  shape.compound_ = true;
  if (count < 1 || count > kMostParts) shape.why_ = "A compound has 1 to 16 parts.";
  shape.json_ += ",\"parts\":[";
  for (std::size_t i = 0; shape.ok() && i < count; i++) {
    const PlacedShape& part = parts[i];
    if (!part.shape.ok()) shape.why_ = part.shape.why();
    else if (part.shape.compound_) shape.why_ = "A part of a compound is a convex shape.";
    shape.points_ += part.shape.points_;
    (shape.json_ += i > 0 ? ",{\"shape\":" : "{\"shape\":") += part.shape.json_;
    shape.json_ += ",\"position\":";
    text::vector(shape.json_, part.position);
    shape.json_ += ",\"orientation\":";
    text::quaternion(shape.json_, part.orientation);
    shape.json_ += '}';
    const float reach = norm(part.position) + part.shape.reach_;
    if (reach > shape.reach_) shape.reach_ = reach;
  }
  if (shape.ok() && shape.points_ > kMostPointsOfCompound) shape.why_ = "All hulls of a compound have 512 points at most.";
  shape.json_ += ']';
  return shape.closed();
}

/// Where an engine has an object: in its own axes and lengths, scaled first, then turned, then moved.
struct Placement {
  Vec3 position;
  Quat rotation;
  Vec3 scale{1, 1, 1};
};

/// Turns an engine's collider data into shapes. All lengths are the engine's, before scaling. Where a round collider is
/// scaled unevenly it stays round, as is common practice in engines: a sphere takes the largest scale, a capsule the
/// larger one across its axis.
class Colliders {
 public:
  explicit Colliders(Axes axes) : axes_(axes) {}

  PlacedShape sphere(const Placement& at, Vec3 centre, float radius) const {
    float scale = 0;
    for (int axis = 0; axis < 3; axis++) scale = std::fmax(scale, std::fabs(at.scale[axis]));
    return placed(Shape::sphere(radius * scale / axes_.units_per_metre()), at, centre, {});
  }
  /// @param size full edge lengths
  PlacedShape box(const Placement& at, Vec3 centre, Vec3 size) const {
    return placed(Shape::box(axes_.size_to_stream(size * at.scale)), at, centre, {});
  }
  /// @param height from end to end, caps included. @param along 0: along x, 1: y, 2: z of the object
  PlacedShape capsule(const Placement& at, Vec3 centre, float radius, float height, int along) const {
    if (along < 0 || along > 2) return {};
    const float across = std::fmax(std::fabs(at.scale[(along + 1) % 3]), std::fabs(at.scale[(along + 2) % 3]));
    const float r = radius * across / axes_.units_per_metre();
    const float length = height * std::fabs(at.scale[along]) / axes_.units_per_metre() - 2 * r;
    // No longer than it is thick: a ball.
    if (!(length > 1e-5f)) return placed(Shape::sphere(r), at, centre, {});
    Vec3 direction;
    direction[along] = axes_.units_per_metre();
    return placed(Shape::capsule(r, length), at, centre, from_y(axes_.to_stream(direction)));
  }
  /// The vertices of a convex mesh.
  PlacedShape convex(const Placement& at, const Vec3* vertices, std::size_t count) const {
    Vec3 points[Shape::kMostPoints];
    for (std::size_t i = 0; i < count && i < Shape::kMostPoints; i++) points[i] = axes_.to_stream(vertices[i] * at.scale);
    return placed(Shape::hull(points, count), at, {}, {});
  }
  /// A mesh that has been split into convex pieces, each with its vertices: the shapes of convex() with one `at`.
  PlacedShape convex_parts(const Placement& at, const PlacedShape* pieces, std::size_t count) const {
    PlacedShape parts[Shape::kMostParts];
    for (std::size_t i = 0; i < count && i < Shape::kMostParts; i++) parts[i].shape = pieces[i].shape;
    return placed(Shape::compound(parts, count), at, {}, {});
  }

 private:
  Axes axes_;

  PlacedShape placed(Shape shape, const Placement& at, Vec3 centre, Quat own) const {
    const Quat rotation = at.rotation.normalised();
    const Vec3 position = at.position + rotation.rotate(centre * at.scale);
    return {std::move(shape), axes_.to_stream(position), (axes_.to_stream(rotation) * own).normalised()};
  }
  /// The turn that carries y along one of the axes; a capsule has no front and no end.
  static Quat from_y(Vec3 axis) {
    constexpr float kHalf = 0.70710678f;
    if (std::fabs(axis.x) > 0.5f) return {0, 0, kHalf, kHalf};
    if (std::fabs(axis.z) > 0.5f) return {kHalf, 0, 0, kHalf};
    return {};
  }
};

}  // namespace tautline

#endif  // TAUTLINE_SHAPES_HPP
