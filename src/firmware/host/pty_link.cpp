#include "pty_link.h"

#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <stdexcept>

PtyLink::PtyLink() {
  master_ = posix_openpt(O_RDWR | O_NOCTTY);
  if (master_ < 0 || grantpt(master_) != 0 || unlockpt(master_) != 0) {
    throw std::runtime_error(std::string("no pseudo-terminal: ") + std::strerror(errno));
  }
  path_ = ptsname(master_);
  const int slave = open(path_.c_str(), O_RDWR | O_NOCTTY);
  if (slave < 0) throw std::runtime_error("cannot open " + path_ + ": " + std::strerror(errno));
  termios settings;
  tcgetattr(slave, &settings);
  cfmakeraw(&settings);
  cfsetispeed(&settings, B115200);
  cfsetospeed(&settings, B115200);
  tcsetattr(slave, TCSANOW, &settings);
  // Closed again: while nobody else has it open, reading the master fails, which tells us just that.
  close(slave);
  fcntl(master_, F_SETFL, fcntl(master_, F_GETFL) | O_NONBLOCK);
  fcntl(master_, F_SETFD, FD_CLOEXEC);
}

PtyLink::~PtyLink() { close(master_); }

size_t PtyLink::read(uint8_t* to, size_t capacity) {
  if (captive_) return 0;
  const ssize_t got = ::read(master_, to, capacity);
  if (got <= 0) {
    const bool open = got < 0 && (errno == EAGAIN || errno == EWOULDBLOCK || errno == EINTR);
    if (connected_ && !open) {
      pending_.clear();
      tcflush(master_, TCIOFLUSH);  // the next one to open the port must not read what this one left
    }
    connected_ = open;
    return 0;
  }
  connected_ = true;
  bytesReceived += static_cast<uint64_t>(got);
  return cut ? 0 : static_cast<size_t>(got);
}

size_t PtyLink::room() const { return pending_.size() >= kBuffer ? 0 : kBuffer - pending_.size(); }

void PtyLink::write(const uint8_t* frame, size_t length, double random01) {
  ++framesSent;
  bytesSent += length;
  if (cut || !connected_) return;
  if (dropFrames > 0) {
    --dropFrames;
    return;
  }
  const size_t start = pending_.size();
  pending_.insert(pending_.end(), frame, frame + length);
  if (corruptFrames > 0) {
    --corruptFrames;
    // Never in the closing 0, so that this frame alone is damaged.
    const size_t bit = static_cast<size_t>(random01 * static_cast<double>(8 * (length - 1)));
    uint8_t& byte = pending_[start + bit / 8];
    byte = static_cast<uint8_t>(byte ^ (1U << (bit % 8)));
  }
}

void PtyLink::writeNoise(const std::vector<uint8_t>& bytes) {
  if (cut || !connected_) return;
  pending_.insert(pending_.end(), bytes.begin(), bytes.end());
}

std::vector<uint8_t> PtyLink::take() {
  std::vector<uint8_t> taken;
  taken.swap(pending_);
  return taken;
}

void PtyLink::flush() {
  if (captive_) return;
  while (!pending_.empty()) {
    const ssize_t put = ::write(master_, pending_.data(), pending_.size());
    if (put <= 0) return;
    pending_.erase(pending_.begin(), pending_.begin() + put);
  }
}

void PtyLink::settle() {
  flush();
  if (captive_ || !connected_) return;
  // Linux passes on what was written when it finds the time, unless somebody asks at the other end.
  pollfd slave = {open(path_.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK), POLLIN, 0};
  if (slave.fd < 0) return;
  poll(&slave, 1, 0);
  close(slave.fd);
}
