// Where the service is: it says so in a file of the user's own, $XDG_RUNTIME_DIR/tautline/stream.json (Windows:
// %LOCALAPPDATA%\Tautline\stream.json), as { "url": "ws://127.0.0.1:7117/stream", "token": "...", "pid": 1234 }.
// With it may stand which programs are served, and in which space the OpenXR layer says where hands are, { "openxr": { "allow": ["a"], "deny": ["b"], "world": "stage" } }. A file whose process is gone is not believed. Two environment variables go before it. Does not throw but for want of memory.
#ifndef TAUTLINE_LINK_DISCOVERY_HPP
#define TAUTLINE_LINK_DISCOVERY_HPP

#include <cstdio>
#include <cstdlib>
#include <string>
#include <string_view>
#include <vector>

#include "json.hpp"
#include "websocket.hpp"

#ifndef _WIN32
#include <csignal>
#include <sys/stat.h>
#endif

namespace tautline::link {

/// Reads `ws://ADDRESS:PORT/PATH`; a name is not looked up, but for localhost. @return false if it is no such URL
inline bool read_url(std::string_view url, Endpoint& endpoint) {
  constexpr std::string_view kScheme = "ws://";
  if (url.substr(0, kScheme.size()) != kScheme) return false;
  url.remove_prefix(kScheme.size());
  const std::size_t slash = url.find('/');
  std::string_view host = url.substr(0, slash);
  endpoint.path = slash == std::string_view::npos ? "/" : std::string(url.substr(slash));
  for (const char c : endpoint.path) {
    if (c <= ' ' || c > '~') return false;
  }
  const std::size_t colon = host.rfind(':');
  std::uint32_t port = 80;
  if (colon != std::string_view::npos && host.find(']', colon) == std::string_view::npos) {
    port = 0;
    for (const char c : host.substr(colon + 1)) {
      if (c < '0' || c > '9' || port > 65535) return false;
      port = port * 10 + static_cast<std::uint32_t>(c - '0');
    }
    host = host.substr(0, colon);
  }
  if (port == 0 || port > 65535) return false;
  if (host.size() > 2 && host.front() == '[' && host.back() == ']') host = host.substr(1, host.size() - 2);
  endpoint.port = static_cast<std::uint16_t>(port);
  // A service that listens everywhere listens here.
  endpoint.address = host == "localhost" || host == "0.0.0.0" ? "127.0.0.1" : host == "::" ? "::1" : std::string(host);
  return !endpoint.address.empty();
}

inline bool process_lives(long pid) {
  if (pid <= 0) return false;
#ifdef _WIN32
  const HANDLE process = ::OpenProcess(SYNCHRONIZE, FALSE, static_cast<DWORD>(pid));
  // A process of another user's cannot be opened, and is there.
  if (process == nullptr) return ::GetLastError() == ERROR_ACCESS_DENIED;
  const bool lives = ::WaitForSingleObject(process, 0) == WAIT_TIMEOUT;
  ::CloseHandle(process);
  return lives;
#else
  return ::kill(static_cast<pid_t>(pid), 0) == 0 || errno == EPERM;
#endif
}

inline std::string discovery_file() {
#ifdef _WIN32
  const char* folder = std::getenv("LOCALAPPDATA");
  return folder && *folder ? std::string(folder) + "\\Tautline\\stream.json" : std::string();
#else
  const char* folder = std::getenv("XDG_RUNTIME_DIR");
  return folder && *folder == '/' ? std::string(folder) + "/tautline/stream.json" : std::string();
#endif
}

/// Which programs a service serves, by the names of their files.
struct Programs {
  bool all = true;  ///< but for those of `deny`; else those of `allow` alone
  std::vector<std::string> allow, deny;
  bool stage = false;  ///< hands are said to be where they are in stage space, not in local space

  /// As names are compared: without `.exe`, in small letters (those of ASCII); as src/protocol/program-name.ts.
  static std::string key(std::string_view file) {
    std::string name(file);
    for (char& c : name) {
      if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
    }
    constexpr std::string_view kExe = ".exe";
    if (name.size() >= kExe.size() && name.compare(name.size() - kExe.size(), kExe.size(), kExe) == 0) {
      name.resize(name.size() - kExe.size());
    }
    return name;
  }
  bool serve(std::string_view file) const {
    const std::string name = key(file);
    const auto has = [&](const std::vector<std::string>& list) {
      for (const std::string& each : list) {
        if (each == name) return true;
      }
      return false;
    };
    return !has(deny) && (all || has(allow));
  }
};

inline void read_names(json::Reader& in, std::vector<std::string>& names) {
  json::Text name;
  if (!in.begin_array()) return;
  while (in.next_element()) {
    if (in.string(name) && names.size() < 256) names.emplace_back(name.view());
  }
}

inline void read_programs(json::Reader& in, Programs& programs) {
  json::Key key;
  if (!in.begin_object()) return;
  while (in.next_member(key)) {
    if (key == "allow" && in.peek() == '[') {
      programs.all = false;
      read_names(in, programs.allow);
    } else if (key == "deny" && in.peek() == '[') {
      read_names(in, programs.deny);
    } else if (key == "world" && in.peek() == '"') {
      json::Text world;
      in.string(world);
      programs.stage = world.view() == "stage";
    } else {
      in.skip();
    }
  }
}

/// Reads the text of the file. @return whether it names a service whose process lives
inline bool read_discovery(std::string_view text, Endpoint& endpoint, Programs* programs = nullptr) {
  json::Reader in(text);
  Programs served;
  json::Key key;
  json::Text url, token;
  double pid = 0;
  if (in.begin_object()) {
    while (in.next_member(key)) {
      if (key == "url") in.string(url);
      else if (key == "token") in.string(token);
      else if (key == "pid") in.number(pid);
      else if (key == "openxr" && in.peek() == '{') read_programs(in, served);
      else in.skip();
    }
  }
  if (!in.ok() || !(pid >= 1 && pid < 4294967296.0) || !process_lives(static_cast<long>(pid))) return false;
  for (const char c : token.view()) {
    if (c <= ' ' || c > '~') return false;
  }
  if (!read_url(url.view(), endpoint)) return false;
  endpoint.token = std::string(token.view());
  if (programs != nullptr) *programs = served;
  return true;
}

/// Looks at TAUTLINE_STREAM (a URL; its token in TAUTLINE_TOKEN), then at the file.
/// @return true: the user's service says where it is; false: it does not, and the endpoint is the usual one
inline bool find_service(Endpoint& endpoint, Programs* programs = nullptr) {
  endpoint = Endpoint{};
  if (programs != nullptr) *programs = Programs{};
  const char* url = std::getenv("TAUTLINE_STREAM");
  if (url != nullptr && read_url(url, endpoint)) {
    const char* token = std::getenv("TAUTLINE_TOKEN");
    if (token != nullptr) endpoint.token = token;
    return false;
  }
  endpoint = Endpoint{};
  const std::string path = discovery_file();
  if (path.empty()) return false;
  // Room for the longest lists that a profile may have.
  char text[16384];
  bool mine = true;
#ifdef _WIN32
  std::FILE* file = std::fopen(path.c_str(), "rb");
  if (file == nullptr) return false;
#else
  // Whatever lies there, opening it must not wait.
  const int descriptor = ::open(path.c_str(), O_RDONLY | O_NONBLOCK | O_CLOEXEC);
  if (descriptor < 0) return false;
  std::FILE* file = ::fdopen(descriptor, "rb");
  if (file == nullptr) {
    ::close(descriptor);
    return false;
  }
  // A file that someone else put there could send us anywhere.
  struct stat status;
  mine = ::fstat(descriptor, &status) == 0 && (status.st_uid == ::geteuid() || status.st_uid == 0) &&
         (status.st_mode & (S_IWGRP | S_IWOTH)) == 0 && S_ISREG(status.st_mode);
#endif
  const std::size_t size = mine ? std::fread(text, 1, sizeof text, file) : 0;
  std::fclose(file);
  if (size == 0 || size == sizeof text) return false;
  Endpoint found;
  if (!read_discovery(std::string_view(text, size), found, programs)) return false;
  endpoint = found;
  return true;
}

}  // namespace tautline::link

#endif  // TAUTLINE_LINK_DISCOVERY_HPP
