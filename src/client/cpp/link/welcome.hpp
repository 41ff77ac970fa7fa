// What the service says of its hands when an app connects.
#ifndef TAUTLINE_LINK_WELCOME_HPP
#define TAUTLINE_LINK_WELCOME_HPP

#include "json.hpp"

namespace tautline::link {

inline void read_flag(json::Reader& in, bool& flag) {
  double value = 0;
  if (in.number_or_boolean(value)) flag = value != 0;
}

inline void read_hands(json::Reader& in, bool (&armed)[2], bool (&present)[2], json::Text (&how)[2]) {
  json::Key key;
  json::Text text;
  in.begin_array();
  while (in.next_element()) {
    if (in.peek() != '{') {
      in.skip();
      continue;
    }
    in.begin_object();
    int side = -1;
    while (in.next_member(key)) {
      if (key == "hand" && in.peek() == '"' && in.string(text)) side = text == "left" ? 0 : text == "right" ? 1 : -1;
      else if (key == "armed" && side >= 0) read_flag(in, armed[side]);
      else if (key == "howToArm" && side >= 0 && in.peek() == '"') in.string(how[side]);
      else in.skip();
    }
    if (side >= 0) present[side] = true;
  }
}

}  // namespace tautline::link

#endif  // TAUTLINE_LINK_WELCOME_HPP
