#include "simulated_hand.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>

using namespace tautline;

namespace {

struct Named {
  const char* name;
  uint8_t value;
};
#define ENTRY(name, value) {name, value},
const Named kChannelRoles[] = {TAUTLINE_CHANNEL_ROLES(ENTRY)};
const Named kActuatorRoles[] = {TAUTLINE_ACTUATOR_ROLES(ENTRY)};
const Named kActuatorKinds[] = {TAUTLINE_ACTUATOR_KINDS(ENTRY)};
#undef ENTRY

template <size_t N>
int lookup(const Named (&table)[N], const std::string& name) {
  for (const Named& entry : table) {
    if (name == entry.name) return entry.value;
  }
  return -1;
}

// Pulses of the simulated servos: stop at an open hand, stop at a closed hand, and out of the way.
constexpr uint16_t kOpenUs = 2000;
constexpr uint16_t kClosedUs = 1100;
constexpr uint16_t kFreeUs = 900;

constexpr double kPi = 3.14159265358979323846;

// The finger (1 thumb .. 5 little) that a channel senses, 0 if none: high nibble of the role.
int fingerOf(uint8_t channelRole) {
  const int finger = channelRole >> 4;
  return finger >= 1 && finger <= 5 ? finger : 0;
}

bool isSplay(uint8_t channelRole) { return fingerOf(channelRole) != 0 && (channelRole & 0x0f) == 1; }

template <typename Items>
int find(const Items& items, const std::string& nameOrNumber) {
  for (size_t i = 0; i < items.size(); ++i) {
    if (items[i].name == nameOrNumber) return static_cast<int>(i);
  }
  if (nameOrNumber.empty() || nameOrNumber.find_first_not_of("0123456789") != std::string::npos) return -1;
  const unsigned long index = std::strtoul(nameOrNumber.c_str(), nullptr, 10);
  return index < items.size() ? static_cast<int>(index) : -1;
}

}  // namespace

double SimulatedServo::curl() const {
  const double span = static_cast<double>(spec.closedUs) - spec.openUs;
  return span == 0 ? 2 : (us - spec.openUs) / span;
}

SimulatedHand::SimulatedHand(uint32_t seed, double noise)
    : noiseCounts(noise), random_(seed * 2654435761U + 1U) {
  if (random_ == 0) random_ = 1;
}

void SimulatedHand::addPhysics(Drive drive, double now) {
  now_ = now;
  physics.reset(new HandPhysics(drive, now));
}

bool SimulatedHand::addChannel(const std::string& name, uint8_t bits) {
  const int role = lookup(kChannelRoles, name);
  if (role < 0) return false;
  SimulatedChannel channel;
  channel.name = name;
  channel.role = static_cast<uint8_t>(role);
  channel.bits = bits;
  const double top = std::pow(2.0, bits) - 1;
  channel.openCounts = std::round(0.12 * top);
  channel.closedCounts = std::round(0.88 * top);
  // Fingers start open, splays and sticks in the middle.
  const bool centred = isSplay(channel.role) || name.rfind("stick.", 0) == 0;
  channel.from = channel.to = centred ? 0.5 : 0;
  channels.push_back(channel);
  return true;
}

bool SimulatedHand::addActuator(const std::string& name, const std::string& kindName) {
  const int role = lookup(kActuatorRoles, name);
  const int kind = lookup(kActuatorKinds, kindName);
  if (role < 0 || kind < 0) return false;
  SimulatedServo servo;
  servo.name = name;
  servo.spec = {static_cast<uint8_t>(role), static_cast<uint8_t>(kind), kOpenUs, kClosedUs, kFreeUs};
  if (physics && servo.spec.kind == actuator_kind::string_stop && role >= 1 && role <= 5) {
    servo.spec = physics->fit(servo.spec);
    physics->addServo(static_cast<size_t>(role - 1), servo.spec);
  }
  servo.us = servo.spec.freeUs;
  servos.push_back(servo);
  return true;
}

bool SimulatedHand::isPhysical(const SimulatedServo& servo) const {
  return physics && servo.spec.kind == actuator_kind::string_stop && servo.spec.role >= 1 && servo.spec.role <= 5;
}

size_t SimulatedHand::fingerIndex(const SimulatedServo& servo) { return servo.spec.role - size_t(1); }

int SimulatedHand::findChannel(const std::string& nameOrNumber) const { return find(channels, nameOrNumber); }
int SimulatedHand::findServo(const std::string& nameOrNumber) const { return find(servos, nameOrNumber); }

int SimulatedHand::intentChannel(size_t finger) const {
  for (size_t i = 0; i < channels.size(); ++i) {
    const uint8_t role = channels[i].role;
    if (fingerOf(role) == static_cast<int>(finger) + 1 && !isSplay(role)) return static_cast<int>(i);
  }
  return -1;
}

void SimulatedHand::advance(double now) {
  if (physics) {
    physics->advance(now, [this](size_t finger, double time) {
      const int channel = intentChannel(finger);
      return channel < 0 ? 0.0 : wantedAt(channels[static_cast<size_t>(channel)], time);
    });
  }
  const double step = servoUsPerSecond * std::max(0.0, now - now_);
  now_ = now;
  for (SimulatedServo& servo : servos) {
    if (isPhysical(servo)) {
      servo.us = physics->pulseUs(fingerIndex(servo));
      continue;
    }
    const double target = servoMicros(servo.spec, servo.stop);
    servo.us = servo.us < target ? std::min(target, servo.us + step) : std::max(target, servo.us - step);
  }
}

double SimulatedHand::wanted(const SimulatedChannel& channel) const { return wantedAt(channel, now_); }

double SimulatedHand::wantedAt(const SimulatedChannel& channel, double time) const {
  const double elapsed = std::max(0.0, time - channel.moveStart);
  if (channel.sweeping) {
    const double phase = 0.5 - 0.5 * std::cos(2 * kPi * elapsed / channel.moveSeconds);
    return channel.from + (channel.to - channel.from) * phase;
  }
  if (elapsed >= channel.moveSeconds) return channel.to;
  const double t = elapsed / channel.moveSeconds;
  // Minimum jerk (Flash & Hogan, Journal of Neuroscience 5(7), 1985).
  const double done = channel.smooth ? t * t * t * (10 + t * (6 * t - 15)) : t;
  return channel.from + (channel.to - channel.from) * done;
}

// Without physics, the one place where servos act on the hand: a finger goes no further than where its string is stopped.
// A rigid string, no give and no pull.
double SimulatedHand::limitByStops(const SimulatedChannel& channel, double wantedValue) const {
  const int finger = fingerOf(channel.role);
  if (finger == 0 || isSplay(channel.role)) return wantedValue;
  if (physics) return physics->fingers[static_cast<size_t>(finger - 1)].body.sensedCurl();
  double limit = wantedValue;
  for (const SimulatedServo& servo : servos) {
    // Actuator roles of fingers count as the fingers of channel roles do: 1 thumb .. 5 little.
    if (servo.spec.role != finger || servo.spec.kind == actuator_kind::vibration || servo.isFree()) continue;
    limit = std::min(limit, servo.curl());
  }
  return std::max(0.0, limit);
}

double SimulatedHand::value(size_t index) const {
  return limitByStops(channels[index], wanted(channels[index]));
}

uint16_t SimulatedHand::counts(size_t index) {
  SimulatedChannel& channel = channels[index];
  const double top = std::pow(2.0, channel.bits) - 1;
  double position = value(index);
  double noise = noiseCounts * gaussian();
  double offset = 0;
  switch (channel.fault) {
    case ChannelFault::none:
    case ChannelFault::missing: break;
    case ChannelFault::dead: return static_cast<uint16_t>(channel.deadCounts);
    case ChannelFault::open:
    case ChannelFault::floating:
      return static_cast<uint16_t>(std::min(top, std::max(0.0, std::round(openWiperCounts(index) + noise))));
    case ChannelFault::railed: return static_cast<uint16_t>(channel.faultAmount > 0 ? top : 0);
    case ChannelFault::reversed: position = 1 - position; break;
    case ChannelFault::noisy: noise = std::max(1.0, noiseCounts) * channel.faultAmount * gaussian(); break;
    case ChannelFault::shortRange: position = 0.5 + (position - 0.5) * channel.faultAmount; break;
    case ChannelFault::drifting: offset = channel.faultAmount * top * (now_ - channel.faultSince); break;
    case ChannelFault::intermittent:
      if (now_ >= channel.nextGlitch) {
        channel.glitchEnds = now_ + 0.002 + 0.04 * random();
        channel.glitchCounts = random() < 0.5 ? 0 : top * random();
        channel.nextGlitch = channel.glitchEnds - std::log(1 - random()) / channel.faultAmount;
      }
      if (now_ < channel.glitchEnds) return static_cast<uint16_t>(channel.glitchCounts);
      break;
  }
  const double counts = channel.openCounts + position * (channel.closedCounts - channel.openCounts);
  return static_cast<uint16_t>(std::min(top, std::max(0.0, std::round(counts + noise + offset + crossCounts(channel)))));
}

// Without noise, and without faults of its own.
double SimulatedHand::soundCounts(size_t index) const {
  const SimulatedChannel& channel = channels[index];
  return channel.openCounts + value(index) * (channel.closedCounts - channel.openCounts);
}

double SimulatedHand::openWiperCounts(size_t index) {
  SimulatedChannel& channel = channels[index];
  const double top = std::pow(2.0, channel.bits) - 1;
  const size_t before = (index + channels.size() - 1) % channels.size();
  const double neighbour = soundCounts(before) / (std::pow(2.0, channels[before].bits) - 1);
  channel.wiperShare = channel.wiper.after(now_ - channel.wiperAt, channel.wiperShare, neighbour);
  channel.wiperAt = now_;
  return channel.wiperShare * top;
}

double SimulatedHand::crossCounts(const SimulatedChannel& channel) const {
  const int from = channel.crossPart == 0 ? -1 : findChannel(channel.crossFrom);
  if (from < 0) return 0;
  const SimulatedChannel& source = channels[static_cast<size_t>(from)];
  return channel.crossPart * value(static_cast<size_t>(from)) * (source.closedCounts - source.openCounts);
}

void SimulatedHand::move(size_t index, double to, double seconds) {
  SimulatedChannel& channel = channels[index];
  channel.from = wanted(channel);
  channel.to = to;
  channel.moveStart = now_;
  channel.moveSeconds = seconds;
  channel.sweeping = false;
  channel.smooth = false;
}

void SimulatedHand::intend(size_t index, double to, double peakSpeed) {
  // A movement of least jerk is 15/8 times as fast at its middle as on average.
  move(index, to, 1.875 * std::fabs(to - wanted(channels[index])) / peakSpeed);
  channels[index].smooth = true;
}

void SimulatedHand::sweep(size_t index, double low, double high, double periodSeconds) {
  SimulatedChannel& channel = channels[index];
  channel.from = low;
  channel.to = high;
  channel.moveStart = now_;
  channel.moveSeconds = periodSeconds;
  channel.sweeping = true;
}

void SimulatedHand::setFault(size_t index, ChannelFault fault, double amount) {
  SimulatedChannel& channel = channels[index];
  channel.fault = ChannelFault::none;
  channel.deadCounts = counts(index);
  channel.fault = fault;
  channel.faultAmount = amount;
  channel.faultSince = now_;
  channel.glitchEnds = 0;
  channel.nextGlitch = now_;
  channel.wiper = OpenWiper();
  if (fault == ChannelFault::open) channel.wiper.pullDownOhms = 1000 * amount;
  if (fault == ChannelFault::floating) channel.wiper.leakageAmperes = 1e-9 * amount;
  channel.wiperShare = soundCounts(index) / (std::pow(2.0, channel.bits) - 1);
  channel.wiperAt = now_;
}

void SimulatedHand::crossTalk(size_t index, size_t from, double part) {
  channels[index].crossFrom = channels[from].name;
  channels[index].crossPart = part;
}

void SimulatedHand::command(size_t index, uint16_t stop, uint8_t effort, double now) {
  SimulatedServo& servo = servos[index];
  servo.stop = stop;
  servo.effort = effort;
  servo.writtenAt = now;
  ++servo.writes;
  if (isPhysical(servo)) {
    // What is not to hold gets out of the way.
    const bool free = servo.isFree();
    const double us = free ? servo.spec.freeUs : servoMicros(servo.spec, stop);
    physics->command(fingerIndex(servo), us, free, effort);
  }
}

// xorshift (Marsaglia, Journal of Statistical Software 8(14), 2003): repeatable on every machine.
double SimulatedHand::random() {
  random_ ^= random_ << 13;
  random_ ^= random_ >> 17;
  random_ ^= random_ << 5;
  return random_ / 4294967296.0;
}

double SimulatedHand::gaussian() {
  const double radius = std::sqrt(-2 * std::log(1 - random()));
  return radius * std::cos(2 * kPi * random());
}
