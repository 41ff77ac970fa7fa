#include "frames.h"

namespace tautline {

// Eight shifts at once: valid for 0x1021 alone, because its taps are 12, 5 and 0.
static_assert(kCrc16Poly == 0x1021, "crc16() is written for this polynomial");

uint16_t crc16(uint16_t crc, uint8_t byte) {
  uint8_t x = static_cast<uint8_t>((crc >> 8) ^ byte);
  x = static_cast<uint8_t>(x ^ (x >> 4));
  const uint16_t wide = x;
  return static_cast<uint16_t>((crc << 8) ^ (wide << 12) ^ (wide << 5) ^ wide);
}

void CobsEncoder::begin(uint8_t* out, uint16_t capacity) {
  out_ = out;
  capacity_ = capacity;
  length_ = 0;
  overflow_ = false;
  openBlock();
}

void CobsEncoder::append(uint8_t byte) {
  if (length_ < capacity_) {
    out_[length_++] = byte;
  } else {
    overflow_ = true;
  }
}

void CobsEncoder::openBlock() {
  codeAt_ = length_;
  code_ = 1;
  append(0);
}

void CobsEncoder::put(uint8_t byte) {
  if (code_ == 0xff) {
    // A full block (254 bytes) is closed only when more follows, so that it adds no empty block at the end.
    if (!overflow_) out_[codeAt_] = code_;
    openBlock();
  }
  if (byte == 0) {
    if (!overflow_) out_[codeAt_] = code_;
    openBlock();
  } else {
    append(byte);
    ++code_;
  }
}

uint16_t CobsEncoder::finish() {
  if (!overflow_) out_[codeAt_] = code_;
  append(0);
  return overflow_ ? static_cast<uint16_t>(0) : length_;
}

void FrameWriter::begin(uint8_t type, uint8_t seq) {
  cobs_.begin(frame_, kMaxFrame);
  crc_ = kCrc16Init;
  payloadLength_ = 0;
  u8(type);
  u8(seq);
}

void FrameWriter::u8(uint8_t value) {
  cobs_.put(value);
  crc_ = crc16(crc_, value);
  ++payloadLength_;
}

void FrameWriter::u16(uint16_t value) {
  u8(static_cast<uint8_t>(value & 0xff));
  u8(static_cast<uint8_t>(value >> 8));
}

void FrameWriter::u32(uint32_t value) {
  u16(static_cast<uint16_t>(value & 0xffff));
  u16(static_cast<uint16_t>(value >> 16));
}

void FrameWriter::bytes(const uint8_t* data, uint16_t length) {
  for (uint16_t i = 0; i < length; ++i) u8(data[i]);
}

uint16_t FrameWriter::finish() {
  u16(crc_);
  const uint16_t length = cobs_.finish();
  return payloadLength_ > kMaxPayload ? static_cast<uint16_t>(0) : length;
}

void FrameReader::reset() {
  counters_ = LinkCounters();
  frameLength_ = 0;
  length_ = 0;
  left_ = 0;
  zeroPending_ = false;
  started_ = false;
  discarding_ = false;
}

bool FrameReader::put(uint8_t byte) {
  if (byte == 0) return endFrame();
  started_ = true;
  if (discarding_) return false;
  if (left_ > 0) {
    --left_;
    append(byte);
    return false;
  }
  if (zeroPending_) append(0);
  left_ = static_cast<uint8_t>(byte - 1);
  zeroPending_ = byte != 0xff;
  return false;
}

void FrameReader::append(uint8_t byte) {
  if (length_ < kMaxPayload) {
    buffer_[length_++] = byte;
  } else {
    discarding_ = true;
  }
}

bool FrameReader::endFrame() {
  const bool started = started_;
  const bool discarded = discarding_;
  const bool cut = left_ > 0;
  frameLength_ = length_;
  length_ = 0;
  left_ = 0;
  zeroPending_ = false;
  started_ = false;
  discarding_ = false;

  if (!started) return false;  // zeros between frames are idle line
  if (discarded) {
    ++counters_.tooLong;
    return false;
  }
  if (cut) {
    ++counters_.badCobs;
    return false;
  }
  if (frameLength_ < kPayloadOverhead) {
    ++counters_.tooShort;
    return false;
  }
  const uint8_t covered = static_cast<uint8_t>(frameLength_ - 2);
  uint16_t crc = kCrc16Init;
  for (uint8_t i = 0; i < covered; ++i) crc = crc16(crc, buffer_[i]);
  if (crc != readU16(buffer_ + covered)) {
    ++counters_.badCrc;
    return false;
  }
  ++counters_.frames;
  return true;
}

}  // namespace tautline
