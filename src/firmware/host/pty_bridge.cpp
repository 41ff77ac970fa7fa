// pty-bridge: a pseudo-terminal whose other end is standard input and output, for a program that cannot open one
// itself, such as a test that simulates a controller. The first line out is the terminal's path, all else is bytes.
// It ends with its standard input. With --acknowledge, it writes a byte to standard error whenever all that came in can
// be read from the terminal.

#include <fcntl.h>
#include <signal.h>
#include <sys/select.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <exception>

#include "pty_link.h"

namespace {

// How soon it is seen that somebody has opened the terminal, or can take more; all else wakes the loop.
const suseconds_t kLookAgainUs = 1000;
const suseconds_t kIdleUs = 100000;

bool writeAll(const uint8_t* bytes, size_t length) {
  while (length > 0) {
    const ssize_t put = write(STDOUT_FILENO, bytes, length);
    if (put < 0 && errno == EINTR) continue;
    if (put <= 0) return false;
    bytes += put;
    length -= static_cast<size_t>(put);
  }
  return true;
}

int run(bool acknowledge) {
  PtyLink link;
  std::printf("%s\n", link.path().c_str());
  std::fflush(stdout);
  uint8_t bytes[4096];
  bool owed = false;
  for (;;) {
    fd_set set;
    FD_ZERO(&set);
    FD_SET(STDIN_FILENO, &set);
    // A terminal that nobody has open is always "ready"; then the timeout alone paces the loop.
    if (link.connected()) FD_SET(link.fd(), &set);
    timeval timeout = {0, link.connected() && !link.pending() ? kIdleUs : kLookAgainUs};
    const int highest = std::max(STDIN_FILENO, link.fd());
    if (select(highest + 1, &set, nullptr, nullptr, &timeout) < 0) FD_ZERO(&set);

    for (size_t got = link.read(bytes, sizeof bytes); got > 0; got = link.read(bytes, sizeof bytes)) {
      if (!writeAll(bytes, got)) return 0;
    }
    if (FD_ISSET(STDIN_FILENO, &set)) {
      const ssize_t got = read(STDIN_FILENO, bytes, std::min(sizeof bytes, std::max<size_t>(1, link.room())));
      if (got <= 0) return 0;
      link.write(bytes, static_cast<size_t>(got), 0);
      owed = acknowledge;
    }
    link.flush();
    if (owed && !link.pending()) {
      owed = false;
      link.settle();
      if (write(STDERR_FILENO, "\n", 1) != 1) return 0;
    }
  }
}

}  // namespace

int main(int count, char** words) {
  signal(SIGPIPE, SIG_IGN);
  try {
    return run(count > 1 && std::strcmp(words[1], "--acknowledge") == 0);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "pty-bridge: %s\n", error.what());
    return 2;
  }
}
