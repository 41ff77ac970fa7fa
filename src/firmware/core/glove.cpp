#include "glove.h"

namespace tautline {

namespace {

constexpr uint32_t kWatchdogUs = 1000UL * kWatchdogMs;
constexpr uint32_t kStateUs = 1000000UL;
constexpr uint32_t kCheckUs = 100000UL;
// A fault clears only once the value is well clear of its limit, so that it does not flicker.
constexpr uint16_t kSupplyClearMv = 100;
constexpr int16_t kTemperatureClear = 50;  // 5 degrees C

constexpr uint8_t kBoardFaults = (1U << fault_bit::actuator_fault) | (1U << fault_bit::converter_fault);

}  // namespace

Glove::Glove(const BoardSpec& spec, const Hardware& hardware)
    : spec_(spec),
      hardware_(hardware),
      actuators_(spec, hardware),
      lastValidUs_(0),
      nextStateUs_(0),
      nextCheckUs_(0),
      pongToken_(0),
      faults_(0),
      framesDropped_(0),
      watchdogTrips_(0),
      unknownTypes_(0),
      badLengths_(0),
      sampleSeq_(0),
      otherSeq_(0),
      helloPending_(true),
      statePending_(true),
      pongPending_(false) {
  schedule_.start(spec.startRateHz, 0);
}

void Glove::begin() {
  actuators_.begin();
  const uint32_t nowUs = hardware_.nowUs(hardware_.context);
  lastValidUs_ = nowUs;
  nextStateUs_ = nowUs + kStateUs;
  nextCheckUs_ = nowUs;
  schedule_.start(spec_.startRateHz, nowUs);
  reply();
}

void Glove::receive(uint8_t byte) {
  if (reader_.put(byte) && !hung()) handle(hardware_.nowUs(hardware_.context));
}

void Glove::poll() {
  if (hung()) freeAfterHang();
  const uint32_t nowUs = hardware_.nowUs(hardware_.context);
  watch(nowUs);
  checkBoard(nowUs);
  reply();
  sampleDue(nowUs);
  if (hardware_.loopWatch != nullptr) hardware_.loopWatch->seen();
  if (hardware_.polled != nullptr) hardware_.polled(hardware_.context);
}

// The interrupt has released what the core still counts as held.
void Glove::freeAfterHang() {
  const bool held = actuators_.active();
  actuators_.begin();
  if (held) trip();
  hardware_.loopWatch->resume();
}

void Glove::handle(uint32_t nowUs) {
  // First what expired in the meantime: a late message must not hide that the host was silent.
  watch(nowUs);
  if (understood(nowUs)) lastValidUs_ = nowUs;
}

bool Glove::understood(uint32_t nowUs) {
  const uint8_t* body = reader_.body();
  const uint8_t length = reader_.bodyLength();
  uint8_t expected;
  switch (reader_.type()) {
    case message::ask_hello: expected = 1; break;
    case message::resist: expected = static_cast<uint8_t>(2 + kResistEntry * spec_.actuatorCount); break;
    case message::release: expected = 0; break;
    case message::ping: expected = 4; break;
    case message::rate: expected = 2; break;
    case message::pulse: expected = 6; break;
    default: ++unknownTypes_; return false;
  }
  if (length != expected) {
    ++badLengths_;
    return false;
  }

  switch (reader_.type()) {
    case message::ask_hello:
      helloPending_ = true;
      break;
    case message::resist:
      setFault(fault_bit::watchdog_release, false);
      if (has(fault_bit::over_temperature)) {
        actuators_.release();
      } else {
        actuators_.hold(readU16(body), body + 2, nowUs);
      }
      break;
    case message::release:
      setFault(fault_bit::watchdog_release, false);
      actuators_.release();
      break;
    case message::ping:
      pongToken_ = readU32(body);
      pongPending_ = true;
      break;
    case message::rate: {
      const uint16_t asked = readU16(body);
      schedule_.start(asked > spec_.maxRateHz ? spec_.maxRateHz : asked, nowUs);
      helloPending_ = true;  // its rate field says what was granted
      break;
    }
    case message::pulse:
      if (body[0] >= spec_.actuatorCount) {
        ++badLengths_;
        return false;
      }
      if (!has(fault_bit::over_temperature)) {
        actuators_.pulse(body[0], body[1], readU16(body + 2), readU16(body + 4), nowUs);
      }
      break;
    default:
      break;
  }
  return true;
}

void Glove::watch(uint32_t nowUs) {
  if (actuators_.active() && nowUs - lastValidUs_ >= kWatchdogUs) {
    actuators_.release();
    trip();
  }
  if (actuators_.update(nowUs)) trip();
}

void Glove::trip() {
  ++watchdogTrips_;
  setFault(fault_bit::watchdog_release, true);
}

void Glove::checkBoard(uint32_t nowUs) {
  if (!reached(nowUs, nextCheckUs_)) return;
  nextCheckUs_ = nowUs + kCheckUs;

  const uint16_t batteryMv = hardware_.batteryMv(hardware_.context);
  if (batteryMv != 0 && spec_.supplyLowMv != 0) {
    const uint32_t limit = static_cast<uint32_t>(spec_.supplyLowMv) +
                           (has(fault_bit::supply_low) ? kSupplyClearMv : static_cast<uint16_t>(0));
    setFault(fault_bit::supply_low, batteryMv < limit);
  }

  const int16_t temperature = hardware_.temperature(hardware_.context);
  if (temperature != kTemperatureUnknown && spec_.overTemperature != kTemperatureUnknown) {
    const int16_t limit = has(fault_bit::over_temperature)
                              ? static_cast<int16_t>(spec_.overTemperature - kTemperatureClear)
                              : spec_.overTemperature;
    setFault(fault_bit::over_temperature, temperature >= limit);
    if (has(fault_bit::over_temperature)) actuators_.release();
  }

  if (hardware_.faults != nullptr) {
    const uint16_t board = hardware_.faults(hardware_.context) & kBoardFaults;
    setFault(fault_bit::actuator_fault, (board & (1U << fault_bit::actuator_fault)) != 0);
    setFault(fault_bit::converter_fault, (board & (1U << fault_bit::converter_fault)) != 0);
  }

  if (reached(nowUs, nextStateUs_)) {
    nextStateUs_ = nowUs + kStateUs;
    statePending_ = true;
  }
}

void Glove::setFault(uint8_t bit, bool on) {
  const uint16_t mask = static_cast<uint16_t>(1U << bit);
  const uint16_t faults = static_cast<uint16_t>(on ? (faults_ | mask) : (faults_ & ~mask));
  if (faults == faults_) return;
  faults_ = faults;
  statePending_ = true;
}

// Sends what is waiting, in order, as far as there is room; the rest waits for the next poll.
void Glove::reply() {
  if (helloPending_) helloPending_ = !sendHello();
  if (helloPending_) return;
  if (pongPending_) pongPending_ = !sendPong();
  if (statePending_) statePending_ = !sendState();
}

void Glove::sampleDue(uint32_t nowUs) {
  const uint16_t points = schedule_.take(nowUs);
  if (points == 0) return;
  framesDropped_ = static_cast<uint16_t>(framesDropped_ + (points - 1));
  if (room(static_cast<uint16_t>(6 + 2 * spec_.channelCount))) {
    sample(nowUs);
  } else {
    ++framesDropped_;
  }
}

void Glove::sample(uint32_t nowUs) {
  begin(message::samples);
  writer_.u32(nowUs);
  writer_.u16(hardware_.readButtons(hardware_.context));
  for (uint8_t i = 0; i < spec_.channelCount; ++i) {
    writer_.u16(hardware_.readChannel(hardware_.context, i));
  }
  send();
}

bool Glove::sendHello() {
  if (!room(static_cast<uint16_t>(16 + 2 * spec_.channelCount + 2 * spec_.actuatorCount))) return false;
  begin(message::hello);
  writer_.u8(kProtocolVersion);
  writer_.u8(spec_.hand);
  writer_.bytes(spec_.deviceId, sizeof spec_.deviceId);
  writer_.u16(spec_.firmwareVersion);
  writer_.u16(schedule_.rateHz());
  writer_.u8(spec_.channelCount);
  writer_.u8(spec_.actuatorCount);
  for (uint8_t i = 0; i < spec_.channelCount; ++i) {
    writer_.u8(spec_.channels[i].role);
    writer_.u8(spec_.channels[i].bits);
  }
  for (uint8_t i = 0; i < spec_.actuatorCount; ++i) {
    writer_.u8(spec_.actuators[i].role);
    writer_.u8(spec_.actuators[i].kind);
  }
  send();
  return true;
}

bool Glove::sendState() {
  if (!room(static_cast<uint16_t>(10 + 2 * spec_.actuatorCount))) return false;
  begin(message::state);
  writer_.u16(hardware_.batteryMv(hardware_.context));
  writer_.u16(static_cast<uint16_t>(hardware_.temperature(hardware_.context)));
  writer_.u16(faults_);
  writer_.u16(framesDropped_);
  writer_.u16(watchdogTrips_);
  for (uint8_t i = 0; i < spec_.actuatorCount; ++i) writer_.u16(actuators_.stop(i));
  send();
  return true;
}

bool Glove::sendPong() {
  if (!room(8)) return false;
  begin(message::pong);
  writer_.u32(pongToken_);
  writer_.u32(hardware_.nowUs(hardware_.context));
  send();
  return true;
}

bool Glove::note(const char* text) {
  const uint16_t limit = kMaxPayload - kPayloadOverhead;
  uint16_t length = 0;
  while (length < limit && text[length] != '\0') ++length;
  // Cut inside a character: step back over its continuation bytes.
  if (text[length] != '\0') {
    while (length > 0 && (static_cast<uint8_t>(text[length]) & 0xc0) == 0x80) --length;
  }
  if (!room(length)) return false;
  begin(message::note);
  for (uint16_t i = 0; i < length; ++i) writer_.u8(static_cast<uint8_t>(text[i]));
  send();
  return true;
}

bool Glove::room(uint16_t bodyLength) const {
  return hardware_.txFree(hardware_.context) >= bodyLength + kPayloadOverhead + 2;
}

// Samples have a sequence of their own and every other message shares a second one. Both count what went out,
// so a gap in the samples at the host is a frame lost on the way (what was never sent is in framesDropped).
void Glove::begin(uint8_t type) {
  writer_.begin(type, type == message::samples ? sampleSeq_++ : otherSeq_++);
}

void Glove::send() {
  const uint16_t length = writer_.finish();
  if (length > 0) hardware_.write(hardware_.context, writer_.data(), length);
}

}  // namespace tautline
