#include "messages.hpp"

#include <algorithm>
#include <iterator>

namespace tautline::layer {
namespace {

namespace json = link::json;

void read_values(json::Reader& in, Message& message) {
  json::Key path;
  if (!in.begin_object()) return;
  while (in.next_member(path)) {
    double value = 0;
    if (!in.number_or_boolean(value)) return;
    // Behind "/user/hand/SIDE/input/".
    const std::string_view text = path.view();
    const std::size_t at = text.find("/input/");
    if (at == std::string_view::npos || !(std::fabs(value) <= 1)) continue;
    const auto* const found = std::find(std::begin(kInputPaths), std::end(kInputPaths), text.substr(at + 7));
    if (found != std::end(kInputPaths)) {
      message.inputs.values[found - std::begin(kInputPaths)] = static_cast<float>(value);
    }
  }
}

/// `hands` of a welcome: the mount that was measured for each, if any.
void read_hands(json::Reader& in, Message& message) {
  if (!in.begin_array()) return;
  while (in.next_element()) {
    json::Text name, side;
    json::Key key;
    double mount[7] = {};
    bool mounted = false;
    if (!in.begin_object()) return;
    while (in.next_member(key)) {
      if (key == "hand") in.string(side);
      else if (key == "mount" && in.peek() == '[') mounted = in.numbers(mount, 7);
      else in.skip();
    }
    if (!mounted || !is_hand(side)) continue;
    message.mounted[side_of(side)] = true;
    std::copy(std::begin(mount), std::end(mount), message.mounts[side_of(side)]);
  }
}

}  // namespace

bool read_message(std::string_view text, Message& message) {
  json::Reader in(text);
  json::Key key;
  if (!in.begin_object()) return false;
  while (in.next_member(key)) {
    if (key == "type") in.string(message.type);
    else if (key == "hand" && in.peek() == '"') in.string(message.hand);
    else if (key == "code" && in.peek() == '"') in.string(message.error_code);
    else if (key == "id" && in.peek() != '"') in.number(message.id);
    else if (key == "timeUs") in.number(message.time_us);
    else if (key == "echoUs") in.number(message.echo_us);
    else if (key == "values" && in.peek() == '{') read_values(in, message);
    else if (key == "hands" && in.peek() == '[') read_hands(in, message);
    else in.skip();
  }
  return in.ok();
}

bool read_mount(const double (&numbers)[7], XrPosef& mount) {
  double square = 0;
  for (int i = 0; i < 7; i++) {
    if (!(std::fabs(numbers[i]) <= 1.01)) return false;
    if (i >= 3) square += numbers[i] * numbers[i];
  }
  if (!(square > 0.25)) return false;
  const auto f = [&](int i) { return static_cast<float>(numbers[i]); };
  mount.orientation = normalised({f(3), f(4), f(5), f(6)});
  mount.position = {f(0), f(1), f(2)};
  return true;
}

}  // namespace tautline::layer
