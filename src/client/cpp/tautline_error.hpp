// What the service refuses, as a code to act on and one line to show. C++17; used by tautline_loop.hpp, and for programs that
// read messages with tautline_client.hpp:
//
//   tautline::Error error;
//   if (!message.is_pose && tautline::read_error(message.json, error)) show(error.message);
#ifndef TAUTLINE_ERROR_HPP
#define TAUTLINE_ERROR_HPP

#include <string>
#include <string_view>

#include "link/json.hpp"

namespace tautline {

/// A refused request.
struct Error {
  std::string code;     ///< of docs/protocol.md, such as disarmed; or notConnected. Empty: there is none
  std::string message;  ///< one line for people: what, where and what to do
  std::string path;     ///< JSON pointer to what is wrong in the request; empty if the service named nothing
};

/// Reads a message of type error. @return false: it is of another type, or damaged; nothing is changed then but `error`
inline bool read_error(std::string_view text, Error& error) {
  namespace json = link::json;
  json::Reader in(text);
  json::Key key, type;
  error.code.clear();
  error.message.clear();
  error.path.clear();
  if (in.begin_object()) {
    while (in.next_member(key)) {
      if (in.peek() != '"') in.skip();
      else if (key == "type") in.string(type);
      else if (key == "code") in.string(error.code);
      else if (key == "message") in.string(error.message);
      else if (key == "path") in.string(error.path);
      else in.skip();
    }
  }
  if (in.ok() && type == "error" && !error.code.empty()) return true;
  error.code.clear();
  error.message.clear();
  error.path.clear();
  return false;
}

}  // namespace tautline

#endif  // TAUTLINE_ERROR_HPP
