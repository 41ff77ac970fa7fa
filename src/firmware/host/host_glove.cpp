#include "host_glove.h"

#include <time.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <sstream>
#include <stdexcept>

#include "physics_commands.h"
#include "text.h"

using namespace tautline;

namespace {

// The simulated supply: one lithium cell. Its limits are common practice for such cells and hobby servos.
constexpr uint16_t kSupplyLowMv = 3300;
constexpr int16_t kOverTemperature = 700;  // 0.1 degrees C
constexpr double kManualStep = 0.0005;  // how often the firmware is run while time is moved by hand

struct FaultKind {
  ChannelFault fault;
  double amount;  // unless the command names one
};

const std::map<std::string, FaultKind>& faultKinds() {
  static const std::map<std::string, FaultKind> kinds = {
      {"none", {ChannelFault::none, 0}},
      {"dead", {ChannelFault::dead, 0}},
      {"railed", {ChannelFault::railed, 1}},               // 1 top, 0 bottom
      {"intermittent", {ChannelFault::intermittent, 4}},   // jumps a second
      {"noisy", {ChannelFault::noisy, 20}},                // times the usual noise
      {"reversed", {ChannelFault::reversed, 0}},
      {"short", {ChannelFault::shortRange, 0.15}},         // part of the usual range
      {"drifting", {ChannelFault::drifting, 0.02}},        // parts of the converter's range a second
      {"missing", {ChannelFault::missing, 0}},             // firmware that does not know the channel
      {"open", {ChannelFault::open, 470}},                 // kilo-ohms of the input's pull-down
      {"floating", {ChannelFault::floating, 0}},           // nanoamperes that leak away
  };
  return kinds;
}

}  // namespace

double monotonicSeconds() {
  timespec time;
  clock_gettime(CLOCK_MONOTONIC, &time);
  return static_cast<double>(time.tv_sec) + 1e-9 * static_cast<double>(time.tv_nsec);
}

HostGlove::HostGlove(const Options& options)
    : hand(options.seed, options.noiseCounts), options_(options) {
  now_ = time();
  if (options.bits < 1 || options.bits > 16) throw std::runtime_error("--bits must be 1..16");
  if (options.rateHz < 1 || options.maxRateHz > 10000 || options.rateHz > options.maxRateHz) {
    throw std::runtime_error("--rate must be 1..--max-rate, --max-rate at most 10000");
  }
  if (options.physics) hand.addPhysics(options.drive, now_);
  for (const std::string& name : options.channels) {
    if (!hand.addChannel(name, static_cast<uint8_t>(options.bits))) {
      throw std::runtime_error("no channel role is called " + name);
    }
  }
  for (const std::string& item : options.actuators) {
    const size_t colon = item.find(':');
    const std::string kind = colon == std::string::npos ? "stringStop" : item.substr(colon + 1);
    if (!hand.addActuator(item.substr(0, colon), kind)) {
      throw std::runtime_error("no actuator is called " + item + " (role, or role:kind)");
    }
    if (options.physics && hand.servos.back().spec.kind == actuator_kind::brake) {
      throw std::runtime_error("--physics knows no brakes: " + item);
    }
    actuatorSpecs_.push_back(hand.servos.back().spec);
  }
  for (const SimulatedChannel& channel : hand.channels) allSpecs_.push_back({channel.role, channel.bits});
  if (allSpecs_.size() > kMaxChannels || actuatorSpecs_.size() > kMaxActuators) {
    throw std::runtime_error(format("at most %u channels and %u actuators", kMaxChannels, kMaxActuators));
  }

  std::string id = options.deviceId;
  if (id.empty()) id = format("%08x%08x", 0x7a000000U | options.hand, options.seed);
  if (id.size() != 16 || id.find_first_not_of("0123456789abcdefABCDEF") != std::string::npos) {
    throw std::runtime_error("--id must be 16 hex digits");
  }
  for (size_t i = 0; i < sizeof board_.deviceId; ++i) {
    board_.deviceId[i] = static_cast<uint8_t>(std::stoul(id.substr(2 * i, 2), nullptr, 16));
  }
  board_.hand = options.hand;
  board_.firmwareVersion = static_cast<uint16_t>(options.firmwareVersion);
  board_.startRateHz = static_cast<uint16_t>(options.rateHz);
  board_.maxRateHz = static_cast<uint16_t>(options.maxRateHz);
  board_.actuatorCount = static_cast<uint8_t>(actuatorSpecs_.size());
  board_.actuators = actuatorSpecs_.data();
  board_.supplyLowMv = kSupplyLowMv;
  board_.overTemperature = kOverTemperature;

  hardware_.context = this;
  hardware_.nowUs = [](void* c) { return self(c).deviceUs(self(c).time()); };
  hardware_.readChannel = [](void* c, uint8_t i) { return self(c).hand.counts(self(c).sent_[i]); };
  hardware_.readButtons = [](void* c) { return self(c).buttons_; };
  hardware_.writeActuator = [](void* c, uint8_t i, uint16_t stop, uint8_t effort) {
    self(c).hand.command(i, stop, effort, self(c).time());
  };
  hardware_.txFree = [](void* c) {
    const size_t room = self(c).link.room();
    return static_cast<uint16_t>(room > 0xffff ? 0xffff : room);
  };
  hardware_.write = [](void* c, const uint8_t* data, uint16_t length) {
    self(c).link.write(data, length, self(c).hand.random());
  };
  hardware_.batteryMv = [](void* c) { return self(c).batteryMv(); };
  hardware_.temperature = [](void* c) { return self(c).temperature(); };
  hardware_.faults = [](void* c) { return self(c).boardFaults_; };

  hand.advance(now_);
  boot();
}

double HostGlove::time() const { return options_.manualTime ? manualTime_ : monotonicSeconds(); }

void HostGlove::boot() {
  bootedAt_ = time();
  ++boots_;
  tripsSeen_ = 0;
  frozenUntil_ = 0;
  listChannels();
  glove_.reset(new Glove(board_, hardware_));
  glove_->begin();
}

// What this firmware knows of: all but the channels that are missing.
void HostGlove::listChannels() {
  channelSpecs_.clear();
  sent_.clear();
  for (size_t i = 0; i < hand.channels.size(); ++i) {
    if (hand.channels[i].fault == ChannelFault::missing) continue;
    channelSpecs_.push_back(allSpecs_[i]);
    sent_.push_back(i);
  }
  board_.channels = channelSpecs_.data();
  board_.channelCount = static_cast<uint8_t>(channelSpecs_.size());
}

// The device clock runs on while the program works, as a hardware timer does.
uint32_t HostGlove::deviceUs(double at) const {
  return static_cast<uint32_t>(static_cast<int64_t>((at - bootedAt_) * 1e6)) + options_.clockUs;
}

// What the servos' supply and the hottest servo are like, unless the side channel said otherwise.
uint16_t HostGlove::batteryMv() const {
  if (batteryMv_ >= 0 || !hand.physics) return static_cast<uint16_t>(std::max(0, batteryMv_));
  return static_cast<uint16_t>(std::lround(1000 * hand.physics->supply.volts));
}

int16_t HostGlove::temperature() const {
  if (temperature_ != kTemperatureUnknown || !hand.physics) return temperature_;
  return static_cast<int16_t>(std::lround(10 * hand.physics->hottest()));
}

int64_t HostGlove::clockUs() const {
  return static_cast<int64_t>(std::llround(bootedAt_ * 1e6)) - options_.clockUs;
}

void HostGlove::run() {
  now_ = time();
  hand.advance(now_);
  if (frozen()) {
    frozenSeen_ = true;
    return;
  }
  if (frozenSeen_) {
    frozenSeen_ = false;
    event("\"event\":\"thawed\"");
  }
  uint8_t bytes[512];
  for (size_t count; (count = link.read(bytes, sizeof bytes)) > 0;) {
    for (size_t i = 0; i < count; ++i) glove_->receive(bytes[i]);
  }
  glove_->poll();
  link.flush();

  if (link.connected() != connectedSeen_) {
    connectedSeen_ = link.connected();
    event(connectedSeen_ ? "\"event\":\"connected\"" : "\"event\":\"disconnected\"");
  }
  const bool holding = std::any_of(hand.servos.begin(), hand.servos.end(),
                                   [](const SimulatedServo& servo) { return !servo.isFree(); });
  if (holding != holdingSeen_) {
    holdingSeen_ = holding;
    event(holding ? "\"event\":\"held\"" : "\"event\":\"released\"");
  }
  if (glove_->watchdogTrips() != tripsSeen_) {
    tripsSeen_ = glove_->watchdogTrips();
    event(format("\"event\":\"watchdog\",\"trips\":%u", tripsSeen_));
  }
}

double HostGlove::idleSeconds() const {
  // Time that is moved by hand stands still until somebody says so.
  if (options_.manualTime) return 1;
  return frozen() ? frozenUntil_ - now_ : 1e-6 * glove_->untilNextSampleUs();
}

void HostGlove::event(const std::string& fields) {
  events_.push_back("{" + fields + format(",\"deviceUs\":%u}", deviceUs(time())));
}

std::vector<std::string> HostGlove::takeEvents() {
  std::vector<std::string> taken;
  taken.swap(events_);
  return taken;
}

std::string HostGlove::servoJson(size_t index) const {
  const SimulatedServo& servo = hand.servos[index];
  return format(
      "{\"servo\":\"%s\",\"free\":%s,\"stop\":%u,\"effort\":%u,\"targetUs\":%u,\"us\":%.0f,\"curl\":%.4f,"
      "\"writes\":%u}",
      servo.name.c_str(), yesNo(servo.isFree()), servo.stop, servo.effort,
      servoMicros(servo.spec, servo.stop), servo.us, servo.curl(), servo.writes);
}

std::string HostGlove::channelJson(size_t index) const {
  const SimulatedChannel& channel = hand.channels[index];
  return format("{\"channel\":\"%s\",\"wanted\":%.4f,\"value\":%.4f,\"openCounts\":%.0f,\"closedCounts\":%.0f}",
                channel.name.c_str(), hand.wanted(channel), hand.value(index), channel.openCounts,
                channel.closedCounts);
}

std::string HostGlove::statsJson() const {
  const LinkCounters& in = glove_->linkCounters();
  return format(
             "{\"deviceUs\":%u,\"clockUs\":%lld,\"rateHz\":%u,\"boots\":%u,\"connected\":%s,\"cut\":%s,\"framesSent\":%llu,"
             "\"bytesSent\":%llu,\"bytesReceived\":%llu,\"framesReceived\":%u,\"badCrc\":%u,\"badCobs\":%u,",
             deviceUs(time()), static_cast<long long>(clockUs()), glove_->rateHz(), boots_, yesNo(link.connected()), yesNo(link.cut),
             static_cast<unsigned long long>(link.framesSent), static_cast<unsigned long long>(link.bytesSent),
             static_cast<unsigned long long>(link.bytesReceived), in.frames, in.badCrc, in.badCobs) +
         format(
             "\"tooShort\":%u,\"tooLong\":%u,\"unknownTypes\":%u,\"badLengths\":%u,\"framesDropped\":%u,"
             "\"watchdogTrips\":%u,\"faults\":%u,\"active\":%s}",
             in.tooShort, in.tooLong, glove_->unknownTypes(), glove_->badLengths(), glove_->framesDropped(),
             glove_->watchdogTrips(), glove_->faults(), yesNo(glove_->actuators().active()));
}

// fault KIND [AMOUNT] CHANNEL
std::string HostGlove::fault(const std::vector<std::string>& words) {
  if (words.size() != 3 && words.size() != 4) return "error fault KIND [AMOUNT] CHANNEL";
  const auto kind = faultKinds().find(words[1]);
  if (kind == faultKinds().end()) {
    std::string known;
    for (const auto& entry : faultKinds()) known += " " + entry.first;
    return "error kinds of fault:" + known;
  }
  double amount = kind->second.amount;
  if (words.size() == 4 && !parse(words[2], amount)) return "error not a number: " + words[2];
  if (kind->second.fault == ChannelFault::intermittent && amount <= 0) return "error jumps a second must be above 0";
  if (kind->second.fault == ChannelFault::open && amount <= 0) return "error the pull-down must be above 0 kilo-ohms";
  const int channel = hand.findChannel(words.back());
  if (channel < 0) return "error no channel " + words.back();
  const bool wasMissing = hand.channels[static_cast<size_t>(channel)].fault == ChannelFault::missing;
  hand.setFault(static_cast<size_t>(channel), kind->second.fault, amount);
  // Other channels than before: that takes other firmware, which begins with a hello.
  if (wasMissing != (kind->second.fault == ChannelFault::missing)) boot();
  return "ok";
}

// cross-talk CHANNEL FROM PART
std::string HostGlove::crossTalk(const std::vector<std::string>& words) {
  double part = 0;
  const int channel = hand.findChannel(words[1]);
  const int from = hand.findChannel(words[2]);
  if (channel < 0 || from < 0) return "error no channel " + words[channel < 0 ? 1 : 2];
  if (channel == from || !parse(words[3], part)) return "error cross-talk CHANNEL FROM PART";
  hand.crossTalk(static_cast<size_t>(channel), static_cast<size_t>(from), part);
  return "ok";
}

// pose MS VALUE...: the first channels, as --channels names them, each to its value, all in the same time.
std::string HostGlove::pose(const std::vector<std::string>& words) {
  if (words.size() - 2 > hand.channels.size()) return "error more values than channels";
  std::vector<double> numbers(words.size() - 1);
  for (size_t i = 0; i < numbers.size(); ++i) {
    if (!parse(words[i + 1], numbers[i])) return "error not a number: " + words[i + 1];
  }
  if (numbers[0] < 0) return "error the time must not be negative";
  for (size_t i = 1; i < numbers.size(); ++i) {
    // By role: connectors may have been exchanged.
    for (size_t at = 0; at < hand.channels.size(); ++at) {
      if (hand.channels[at].role == allSpecs_[i - 1].role) hand.move(at, numbers[i], numbers[0] / 1000);
    }
  }
  return "ok";
}

void HostGlove::advance(double seconds) {
  const double until = manualTime_ + seconds;
  const double start = manualTime_;
  for (unsigned step = 1; manualTime_ < until; ++step) {
    manualTime_ = std::min(until, start + step * kManualStep);
    run();
  }
}

// exchange MS [HEX]: the glove gets these bytes, time moves on, and the answer is what the glove sent meanwhile.
std::string HostGlove::exchange(const std::vector<std::string>& words) {
  double ms = 0;
  if (!options_.manualTime) return "error exchange needs --manual-time";
  if (words.size() < 2 || words.size() > 3 || !parse(words[1], ms) || ms < 0 || ms > 50) {
    return "error exchange MS [HEX], at most 50 ms";
  }
  const std::string hex = words.size() == 3 ? words[2] : "";
  if (hex.size() % 2 != 0 || hex.find_first_not_of("0123456789abcdef") != std::string::npos) {
    return "error bytes are pairs of hex digits";
  }
  link.captivate();
  for (size_t i = 0; i < hex.size(); i += 2) {
    glove_->receive(static_cast<uint8_t>(std::stoul(hex.substr(i, 2), nullptr, 16)));
  }
  advance(ms / 1000);
  std::string sent = "bytes ";
  for (const uint8_t byte : link.take()) sent += format("%02x", byte);
  return sent;
}

std::string HostGlove::command(const std::string& line) {
  std::vector<std::string> words;
  std::istringstream stream(line);
  for (std::string word; stream >> word;) words.push_back(word);
  if (words.empty()) return "error empty line";
  const std::string& verb = words[0];
  const size_t count = words.size() - 1;

  // Time passes between two rounds; what is said now starts from now.
  now_ = time();
  hand.advance(now_);

  const std::string physical = physicsCommand(hand, words, [this](double at) { return deviceUs(at); });
  if (!physical.empty()) return physical;

  if (verb == "exchange") return exchange(words);

  // Verbs that name a channel first and give numbers after it.
  if ((verb == "set" && count == 2) || (verb == "ramp" && count == 3) || (verb == "sweep" && count == 4) ||
      (verb == "range" && count == 3)) {
    const int found = hand.findChannel(words[1]);
    if (found < 0) return "error no channel " + words[1];
    const size_t channel = static_cast<size_t>(found);
    double number[3] = {0, 0, 0};
    for (size_t i = 2; i < words.size(); ++i) {
      if (!parse(words[i], number[i - 2])) return "error not a number: " + words[i];
    }
    if (verb == "set") {
      hand.move(channel, number[0], 0);
    } else if (verb == "ramp") {
      if (number[1] < 0) return "error the time must not be negative";
      hand.move(channel, number[0], number[1] / 1000);
    } else if (verb == "sweep") {
      if (number[2] <= 0) return "error the period must be above 0";
      hand.sweep(channel, number[0], number[1], number[2] / 1000);
    } else {
      hand.channels[channel].openCounts = number[0];
      hand.channels[channel].closedCounts = number[1];
    }
    return "ok";
  }
  if (verb == "swap" && count == 2) {
    const int a = hand.findChannel(words[1]);
    const int b = hand.findChannel(words[2]);
    if (a < 0 || b < 0) return "error no channel " + words[a < 0 ? 1 : 2];
    std::swap(hand.channels[static_cast<size_t>(a)], hand.channels[static_cast<size_t>(b)]);
    return "ok";
  }
  if (verb == "fault") return fault(words);
  if (verb == "cross-talk" && count == 3) return crossTalk(words);
  if (verb == "pose" && count >= 2) return pose(words);
  if (verb == "get" && count == 1) {
    const int channel = hand.findChannel(words[1]);
    return channel < 0 ? "error no channel " + words[1] : channelJson(static_cast<size_t>(channel));
  }
  if (verb == "servo" && count == 1) {
    const int servo = hand.findServo(words[1]);
    return servo < 0 ? "error no actuator " + words[1] : servoJson(static_cast<size_t>(servo));
  }
  if (verb == "servos" && count == 0) {
    std::string all;
    for (size_t i = 0; i < hand.servos.size(); ++i) all += (i ? "," : "") + servoJson(i);
    return "[" + all + "]";
  }
  if (verb == "channels" && count == 0) {
    std::string all;
    for (size_t i = 0; i < hand.channels.size(); ++i) all += (i ? "," : "") + channelJson(i);
    return "[" + all + "]";
  }
  if (verb == "stats" && count == 0) return statsJson();
  if (verb == "note" && count >= 1) {
    return glove_->note(line.substr(line.find("note") + 5).c_str()) ? "ok" : "error no room";
  }
  if (verb == "cut" && count == 0) return link.cut = true, "ok";
  if (verb == "restore" && count == 0) return link.cut = false, "ok";
  if (verb == "reset" && count == 0) return boot(), "ok";
  if (verb == "quit" && count == 0) return quitting_ = true, "ok";

  double first = 0;
  double second = 0;
  if (count < 1 || count > 2) return "error unknown command: " + line;
  if (!parse(words[1], first)) return "error unknown command: " + line;
  if (count == 2 && !parse(words[2], second)) return "error not a number: " + words[2];

  if (verb == "button" && count == 2) {
    if (first < 0 || first > 15) return "error buttons are 0..15";
    const uint16_t mask = static_cast<uint16_t>(1U << static_cast<unsigned>(first));
    buttons_ = static_cast<uint16_t>(second != 0 ? (buttons_ | mask) : (buttons_ & ~mask));
    return "ok";
  }
  if (count != 1) return "error unknown command: " + line;
  if (verb == "temperature") {
    if (first < -300 || first > 300) return "error degrees C are -300..300";
    temperature_ = static_cast<int16_t>(std::lround(first * 10));
    return "ok";
  }
  if (first < 0) return "error the number must not be negative";
  if (verb == "advance") {
    if (!options_.manualTime) return "error advance needs --manual-time";
    if (first > 600000) return "error at most 600000 ms";
    advance(first / 1000);
    link.settle();
    return "ok";
  }
  if (verb == "battery") {
    if (first > 65535) return "error mV are 0..65535";
    batteryMv_ = static_cast<int>(first);
  } else if (verb == "noise") {
    hand.noiseCounts = first;
  } else if (verb == "board-faults") {
    boardFaults_ = static_cast<uint16_t>(first);
  } else if (verb == "corrupt") {
    link.corruptFrames = static_cast<unsigned>(first);
  } else if (verb == "drop") {
    link.dropFrames = static_cast<unsigned>(first);
  } else if (verb == "garbage") {
    if (first > 4096) return "error at most 4096 bytes";
    std::vector<uint8_t> bytes(static_cast<size_t>(first));
    for (uint8_t& byte : bytes) byte = static_cast<uint8_t>(256 * hand.random());
    link.writeNoise(bytes);
  } else if (verb == "freeze") {
    frozenUntil_ = now_ + first / 1000;
    frozenSeen_ = true;
  } else {
    return "error unknown command: " + line;
  }
  return "ok";
}
