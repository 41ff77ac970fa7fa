#include "control.h"

#include <fcntl.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <stdexcept>

namespace {
constexpr size_t kMaxLine = 4096;
}

Control::Control(Handler handler) : handler_(std::move(handler)) {
  clients_.push_back({STDIN_FILENO, STDOUT_FILENO, false, ""});
}

Control::~Control() {
  for (size_t i = 1; i < clients_.size(); ++i) {
    if (!clients_[i].closed) close(clients_[i].in);
  }
  if (listener_ >= 0) {
    close(listener_);
    unlink(path_.c_str());
  }
}

void Control::listen(const std::string& path) {
  sockaddr_un address = {};
  address.sun_family = AF_UNIX;
  if (path.size() >= sizeof address.sun_path) throw std::runtime_error("control path too long: " + path);
  std::memcpy(address.sun_path, path.c_str(), path.size() + 1);
  listener_ = socket(AF_UNIX, SOCK_STREAM, 0);
  unlink(path.c_str());
  if (bind(listener_, reinterpret_cast<sockaddr*>(&address), sizeof address) != 0 ||
      ::listen(listener_, 4) != 0) {
    throw std::runtime_error("cannot listen at " + path + ": " + std::strerror(errno));
  }
  fcntl(listener_, F_SETFL, fcntl(listener_, F_GETFL) | O_NONBLOCK);
  path_ = path;
}

int Control::watch(fd_set& set) const {
  int highest = listener_;
  if (listener_ >= 0) FD_SET(listener_, &set);
  for (const Client& client : clients_) {
    if (client.closed) continue;
    FD_SET(client.in, &set);
    highest = std::max(highest, client.in);
  }
  return highest;
}

void Control::serve(const fd_set& ready) {
  for (Client& client : clients_) {
    if (!client.closed && FD_ISSET(client.in, &ready)) read(client);
  }
  for (size_t i = clients_.size(); i-- > 1;) {
    if (clients_[i].closed) clients_.erase(clients_.begin() + static_cast<std::ptrdiff_t>(i));
  }
  if (listener_ >= 0 && FD_ISSET(listener_, &ready)) {
    const int fd = accept(listener_, nullptr, nullptr);
    if (fd >= FD_SETSIZE) {
      close(fd);
    } else if (fd >= 0) {
      clients_.push_back({fd, fd, false, ""});
    }
  }
}

void Control::announce(const std::string& line) {
  for (const Client& client : clients_) {
    if (!client.closed || client.out == STDOUT_FILENO) send(client, line);
  }
}

void Control::read(Client& client) {
  char chunk[1024];
  const ssize_t got = ::read(client.in, chunk, sizeof chunk);
  if (got < 0 && (errno == EAGAIN || errno == EINTR)) return;
  if (got <= 0) {
    client.closed = true;
    if (client.in != STDIN_FILENO) close(client.in);
    return;
  }
  client.buffer.append(chunk, static_cast<size_t>(got));
  for (size_t end; (end = client.buffer.find('\n')) != std::string::npos;) {
    std::string line = client.buffer.substr(0, end);
    client.buffer.erase(0, end + 1);
    if (!line.empty() && line.back() == '\r') line.pop_back();
    if (!line.empty()) send(client, handler_(line));
  }
  if (client.buffer.size() > kMaxLine) client.buffer.clear();
}

void Control::send(const Client& client, const std::string& line) {
  const std::string text = line + "\n";
  size_t done = 0;
  while (done < text.size()) {
    const ssize_t put = ::write(client.out, text.data() + done, text.size() - done);
    if (put < 0 && errno == EINTR) continue;
    if (put <= 0) return;  // a listener that went away
    done += static_cast<size_t>(put);
  }
}
