// Frames on the link: COBS (Cheshire & Baker, IEEE/ACM ToN 7(2), 1999) around a payload of
// type u8, seq u8, body, CRC-16; every frame ends in a 0, which occurs nowhere else.
#ifndef TAUTLINE_FRAMES_H
#define TAUTLINE_FRAMES_H

#include <stdint.h>

#include "protocol_table.h"

namespace tautline {

// One more byte of a CRC-16 (polynomial 0x1021, not reflected), starting from kCrc16Init.
uint16_t crc16(uint16_t crc, uint8_t byte);

// Encodes byte by byte into a buffer of the caller's.
class CobsEncoder {
 public:
  void begin(uint8_t* out, uint16_t capacity);
  void put(uint8_t byte);
  // Closes the frame with its 0. Returns the length with that 0, or 0 if it did not fit.
  uint16_t finish();

 private:
  void append(uint8_t byte);
  void openBlock();

  uint8_t* out_;
  uint16_t capacity_;
  uint16_t length_;
  uint16_t codeAt_;
  uint8_t code_;
  bool overflow_;
};

// Room for the longest frame: payload, one COBS code (a payload is shorter than 254), and the 0.
constexpr uint16_t kMaxFrame = kMaxPayload + 2;
// type, seq and CRC.
constexpr uint8_t kPayloadOverhead = 4;

// Builds one frame at a time, encoding fields as they are added, so that no copy of the payload is kept.
class FrameWriter {
 public:
  void begin(uint8_t type, uint8_t seq);
  void u8(uint8_t value);
  void u16(uint16_t value);
  void u32(uint32_t value);
  void bytes(const uint8_t* data, uint16_t length);
  // Adds the CRC and closes the frame. Returns its length, or 0 if the payload was longer than kMaxPayload.
  uint16_t finish();
  const uint8_t* data() const { return frame_; }

 private:
  CobsEncoder cobs_;
  uint16_t crc_;
  uint16_t payloadLength_;
  uint8_t frame_[kMaxFrame];
};

// What became of the frames received. All counters wrap.
struct LinkCounters {
  uint16_t frames;    // well-formed, CRC right
  uint16_t badCrc;    // well-formed, wrong CRC
  uint16_t badCobs;   // a 0 came inside a block: bytes were lost
  uint16_t tooShort;  // fewer bytes than type, seq and CRC
  uint16_t tooLong;   // more than kMaxPayload
};

// Cuts frames out of a byte stream. A damaged frame costs itself alone: reading resumes after the next 0.
class FrameReader {
 public:
  FrameReader() { reset(); }
  void reset();
  // Takes one byte; true when it completed a good frame, which stays readable until the next call.
  bool put(uint8_t byte);

  uint8_t type() const { return buffer_[0]; }
  uint8_t seq() const { return buffer_[1]; }
  const uint8_t* body() const { return buffer_ + 2; }
  uint8_t bodyLength() const { return static_cast<uint8_t>(frameLength_ - kPayloadOverhead); }
  const LinkCounters& counters() const { return counters_; }

 private:
  bool endFrame();
  void append(uint8_t byte);

  LinkCounters counters_;
  uint8_t frameLength_;
  uint8_t length_;
  uint8_t left_;        // bytes left in the current block
  bool zeroPending_;    // the block ends in a 0, if another block follows
  bool started_;        // at least one byte since the last 0
  bool discarding_;     // too long: wait for the next 0
  uint8_t buffer_[kMaxPayload];
};

inline uint16_t readU16(const uint8_t* at) {
  return static_cast<uint16_t>(at[0] | static_cast<uint16_t>(static_cast<uint16_t>(at[1]) << 8));
}
inline uint32_t readU32(const uint8_t* at) {
  return static_cast<uint32_t>(readU16(at)) | (static_cast<uint32_t>(readU16(at + 2)) << 16);
}

}  // namespace tautline

#endif  // TAUTLINE_FRAMES_H
