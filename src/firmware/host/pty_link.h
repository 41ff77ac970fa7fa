// A pseudo-terminal that stands in for the glove's serial port, with faults of the line on demand.
#ifndef TAUTLINE_PTY_LINK_H
#define TAUTLINE_PTY_LINK_H

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

class PtyLink {
 public:
  // Throws std::runtime_error if the system has no pseudo-terminal to give.
  PtyLink();
  ~PtyLink();
  PtyLink(const PtyLink&) = delete;
  PtyLink& operator=(const PtyLink&) = delete;

  int fd() const { return master_; }
  const std::string& path() const { return path_; }
  // Somebody has the port open. Known after each read().
  bool connected() const { return connected_; }

  // Takes what came in. At most `capacity` bytes; 0 when there is nothing (or the line is cut).
  size_t read(uint8_t* to, size_t capacity);
  // Room in the transmit buffer.
  size_t room() const;
  // One whole frame. Nobody hears it when the port is not open, as on a real serial line.
  void write(const uint8_t* frame, size_t length, double random01);
  // Bytes that are no frame.
  void writeNoise(const std::vector<uint8_t>& bytes);
  void flush();
  // The terminal has not taken all of it yet.
  bool pending() const { return !pending_.empty(); }
  // Returns once whoever has the terminal open can read all that was written.
  void settle();
  // From now on nobody uses the terminal: what is written is kept until it is taken.
  void captivate() { captive_ = connected_ = true; }
  bool captive() const { return captive_; }
  std::vector<uint8_t> take();

  bool cut = false;            // nothing gets through, either way
  unsigned corruptFrames = 0;  // so many of the next frames get one bit flipped
  unsigned dropFrames = 0;     // so many of the next frames vanish

  uint64_t framesSent = 0;
  uint64_t bytesSent = 0;
  uint64_t bytesReceived = 0;

 private:
  static const size_t kBuffer = 4096;

  int master_ = -1;
  std::string path_;
  bool connected_ = false;
  bool captive_ = false;
  std::vector<uint8_t> pending_;
};

#endif  // TAUTLINE_PTY_LINK_H
