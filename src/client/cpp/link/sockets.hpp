// Non-blocking TCP on POSIX and Windows, and a wake-up for the thread that waits on it. Nothing here throws or waits,
// but wait().
#ifndef TAUTLINE_LINK_SOCKETS_HPP
#define TAUTLINE_LINK_SOCKETS_HPP

#ifdef _WIN32
#ifndef NOMINMAX
#define NOMINMAX
#endif
#include <winsock2.h>
#include <ws2tcpip.h>
#else
#include <arpa/inet.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>
#endif

#include <cerrno>
#include <cstddef>
#include <cstdint>
#include <cstring>

namespace tautline::link {

#ifdef _WIN32
using SocketHandle = SOCKET;
constexpr SocketHandle kNoSocket = INVALID_SOCKET;
inline void close_socket(SocketHandle socket) { ::closesocket(socket); }
inline bool would_block() {
  const int error = ::WSAGetLastError();
  return error == WSAEWOULDBLOCK || error == WSAEINPROGRESS;
}
inline bool interrupted() { return false; }
inline bool make_non_blocking(SocketHandle socket) {
  u_long on = 1;
  return ::ioctlsocket(socket, FIONBIO, &on) == 0;
}
/// To be held while sockets are in use.
class SocketsInUse {
 public:
  SocketsInUse() {
    WSADATA data;
    ok_ = ::WSAStartup(MAKEWORD(2, 2), &data) == 0;
  }
  ~SocketsInUse() {
    if (ok_) ::WSACleanup();
  }

 private:
  bool ok_;
};
#else
using SocketHandle = int;
constexpr SocketHandle kNoSocket = -1;
inline void close_socket(SocketHandle socket) { ::close(socket); }
inline bool would_block() { return errno == EAGAIN || errno == EWOULDBLOCK || errno == EINPROGRESS; }
inline bool interrupted() { return errno == EINTR; }
inline bool make_non_blocking(SocketHandle socket) {
  const int flags = ::fcntl(socket, F_GETFL, 0);
  if (flags < 0 || ::fcntl(socket, F_SETFL, flags | O_NONBLOCK) != 0) return false;
  return ::fcntl(socket, F_SETFD, FD_CLOEXEC) == 0;
}
class SocketsInUse {
 public:
  SocketsInUse() {}
};
#endif

class Socket {
 public:
  Socket() = default;
  ~Socket() { close(); }
  Socket(const Socket&) = delete;
  Socket& operator=(const Socket&) = delete;

  SocketHandle handle() const { return socket_; }
  bool is_open() const { return socket_ != kNoSocket; }

  /// Begins to connect. @param address numeric: a name's resolution could take long. @return false: failed at once
  bool connect(const char* address, std::uint16_t port) {
    close();
    sockaddr_storage to{};
    socklen_t size;
    auto* four = reinterpret_cast<sockaddr_in*>(&to);
    auto* six = reinterpret_cast<sockaddr_in6*>(&to);
    if (::inet_pton(AF_INET, address, &four->sin_addr) == 1) {
      four->sin_family = AF_INET;
      four->sin_port = htons(port);
      size = sizeof *four;
    } else if (::inet_pton(AF_INET6, address, &six->sin6_addr) == 1) {
      six->sin6_family = AF_INET6;
      six->sin6_port = htons(port);
      size = sizeof *six;
    } else {
      return false;
    }
    socket_ = ::socket(to.ss_family, SOCK_STREAM, IPPROTO_TCP);
    if (socket_ == kNoSocket) return false;
    const int on = 1;
    ::setsockopt(socket_, IPPROTO_TCP, TCP_NODELAY, reinterpret_cast<const char*>(&on), sizeof on);
#ifdef SO_NOSIGPIPE
    ::setsockopt(socket_, SOL_SOCKET, SO_NOSIGPIPE, reinterpret_cast<const char*>(&on), sizeof on);
#endif
    if (make_non_blocking(socket_)) {
      if (::connect(socket_, reinterpret_cast<const sockaddr*>(&to), size) == 0 || would_block()) return true;
    }
    close();
    return false;
  }

  /// After the socket became writable: whether it is connected.
  bool connected() const {
    int error = 0;
    socklen_t size = sizeof error;
    return ::getsockopt(socket_, SOL_SOCKET, SO_ERROR, reinterpret_cast<char*>(&error), &size) == 0 && error == 0;
  }

  /// @return bytes read; 0: nothing there; -1: the connection ended
  long read(void* to, std::size_t size) {
    for (;;) {
      const long count = static_cast<long>(::recv(socket_, static_cast<char*>(to), static_cast<int>(size), 0));
      if (count > 0) return count;
      if (count < 0 && interrupted()) continue;
      return count < 0 && would_block() ? 0 : -1;
    }
  }

  /// @return bytes taken, possibly 0; -1: the connection ended
  long write(const void* from, std::size_t size) {
#ifdef MSG_NOSIGNAL
    constexpr int kFlags = MSG_NOSIGNAL;
#else
    constexpr int kFlags = 0;
#endif
    for (;;) {
      const long count =
          static_cast<long>(::send(socket_, static_cast<const char*>(from), static_cast<int>(size), kFlags));
      if (count >= 0) return count;
      if (interrupted()) continue;
      return would_block() ? 0 : -1;
    }
  }

  void close() {
    if (socket_ != kNoSocket) close_socket(socket_);
    socket_ = kNoSocket;
  }

 private:
  SocketHandle socket_ = kNoSocket;
};

/// Wakes a thread in wait(), from any thread, without ever waiting itself.
class Waker {
 public:
  Waker() = default;
  ~Waker() { close(); }
  Waker(const Waker&) = delete;
  Waker& operator=(const Waker&) = delete;

  SocketHandle handle() const { return read_; }

  bool open() {
#ifdef _WIN32
    // Windows can wait for sockets alone: one that is connected to itself.
    read_ = write_ = ::socket(AF_INET, SOCK_DGRAM, IPPROTO_UDP);
    if (read_ == kNoSocket) return false;
    sockaddr_in self{};
    self.sin_family = AF_INET;
    self.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    int size = sizeof self;
    if (::bind(read_, reinterpret_cast<sockaddr*>(&self), size) == 0 &&
        ::getsockname(read_, reinterpret_cast<sockaddr*>(&self), &size) == 0 &&
        ::connect(read_, reinterpret_cast<sockaddr*>(&self), size) == 0 && make_non_blocking(read_)) {
      return true;
    }
#else
    int ends[2];
    if (::pipe(ends) != 0) return false;
    read_ = ends[0];
    write_ = ends[1];
    if (make_non_blocking(read_) && make_non_blocking(write_)) return true;
#endif
    close();
    return false;
  }

  void wake() {
    if (write_ == kNoSocket) return;
    const char one = 1;
    // A full pipe wakes as well.
#ifdef _WIN32
    ::send(write_, &one, 1, 0);
#else
    const auto count = ::write(write_, &one, 1);
    (void)count;
#endif
  }

  void drain() {
    char bytes[64];
#ifdef _WIN32
    while (::recv(read_, bytes, sizeof bytes, 0) > 0) {}
#else
    while (::read(read_, bytes, sizeof bytes) > 0) {}
#endif
  }

  void close() {
    if (read_ != kNoSocket) close_socket(read_);
    if (write_ != kNoSocket && write_ != read_) close_socket(write_);
    read_ = write_ = kNoSocket;
  }

 private:
  SocketHandle read_ = kNoSocket;
  SocketHandle write_ = kNoSocket;
};

struct Ready {
  bool readable, writable, woken;
};

/// Waits until the socket (if open) can be read, or written if so wanted, the waker wakes, or the time is over.
inline Ready wait(const Socket& socket, bool for_writing, Waker& waker, int timeout_ms) {
  Ready ready{};
#ifdef _WIN32
  fd_set readable, writable, failed;
  FD_ZERO(&readable);
  FD_ZERO(&writable);
  FD_ZERO(&failed);
  if (socket.is_open()) {
    FD_SET(socket.handle(), &readable);
    FD_SET(socket.handle(), &failed);
    if (for_writing) FD_SET(socket.handle(), &writable);
  }
  if (waker.handle() != kNoSocket) FD_SET(waker.handle(), &readable);
  if (readable.fd_count == 0) {
    ::Sleep(static_cast<DWORD>(timeout_ms));
    return ready;
  }
  timeval time{timeout_ms / 1000, timeout_ms % 1000 * 1000};
  if (::select(0, &readable, &writable, &failed, &time) <= 0) return ready;
  if (socket.is_open()) {
    const bool bad = FD_ISSET(socket.handle(), &failed) != 0;
    ready.readable = bad || FD_ISSET(socket.handle(), &readable);
    ready.writable = bad || FD_ISSET(socket.handle(), &writable);
  }
  ready.woken = waker.handle() != kNoSocket && FD_ISSET(waker.handle(), &readable);
#else
  pollfd polled[2] = {{waker.handle(), POLLIN, 0},
                      {socket.handle(), static_cast<short>(POLLIN | (for_writing ? POLLOUT : 0)), 0}};
  // poll() passes over negative descriptors.
  if (::poll(polled, 2, timeout_ms) <= 0) return ready;
  const short broken = POLLERR | POLLHUP | POLLNVAL;
  ready.readable = (polled[1].revents & (POLLIN | broken)) != 0;
  ready.writable = (polled[1].revents & (POLLOUT | broken)) != 0;
  ready.woken = polled[0].revents != 0;
#endif
  if (ready.woken) waker.drain();
  return ready;
}

}  // namespace tautline::link

#endif  // TAUTLINE_LINK_SOCKETS_HPP
