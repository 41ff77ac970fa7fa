#include "actuators.h"

#include "frames.h"
#include "schedule.h"

namespace tautline {

uint16_t servoMicros(const ActuatorSpec& spec, uint16_t stop) {
  if (stop == kStopFree) return spec.freeUs;
  const int32_t span = static_cast<int32_t>(spec.closedUs) - static_cast<int32_t>(spec.openUs);
  // |span| is a few thousand at most, so this stays inside 32 bits.
  const int32_t offset = span >= 0 ? (span * static_cast<int32_t>(stop >> 1)) / (kStopMax >> 1)
                                   : -((-span * static_cast<int32_t>(stop >> 1)) / (kStopMax >> 1));
  return static_cast<uint16_t>(static_cast<int32_t>(spec.openUs) + offset);
}

Actuators::Actuators(const BoardSpec& spec, const Hardware& hardware)
    : spec_(spec), hardware_(hardware), holding_(false), holdEndsUs_(0) {
  for (uint8_t i = 0; i < kMaxActuators; ++i) {
    held_[i].stop = written_[i].stop = kStopFree;
    held_[i].effort = written_[i].effort = 0;
    pulses_[i] = Pulse();
  }
}

void Actuators::begin() {
  release();
  for (uint8_t i = 0; i < spec_.actuatorCount; ++i) {
    written_[i].stop = kStopFree;
    written_[i].effort = 0;
    hardware_.writeActuator(hardware_.context, i, kStopFree, 0);
  }
}

void Actuators::hold(uint16_t validForMs, const uint8_t* entries, uint32_t nowUs) {
  if (validForMs > kMaxHoldMs) validForMs = kMaxHoldMs;
  holding_ = false;
  for (uint8_t i = 0; i < spec_.actuatorCount; ++i) {
    const uint8_t* entry = entries + kResistEntry * i;
    const uint16_t stop = readU16(entry);
    const uint8_t effort = entry[2];
    const bool holds = validForMs > 0 && stop != kStopFree && effort > 0 &&
                       spec_.actuators[i].kind != actuator_kind::vibration;
    held_[i].stop = holds ? stop : kStopFree;
    held_[i].effort = holds ? effort : static_cast<uint8_t>(0);
    holding_ = holding_ || holds;
  }
  holdEndsUs_ = nowUs + uint32_t(1000) * validForMs;
  writeChanged(nowUs);
}

void Actuators::pulse(uint8_t actuator, uint8_t amplitude, uint16_t durationMs, uint16_t frequencyHz,
                      uint32_t nowUs) {
  if (durationMs > kMaxPulseMs) durationMs = kMaxPulseMs;
  Pulse& pulse = pulses_[actuator];
  pulse.running = durationMs > 0;
  pulse.amplitude = amplitude;
  pulse.startUs = nowUs;
  pulse.durationUs = uint32_t(1000) * durationMs;
  pulse.halfPeriodUs = frequencyHz == 0 ? 0 : uint32_t(500000) / frequencyHz;
  writeChanged(nowUs);
}

void Actuators::release() {
  holding_ = false;
  for (uint8_t i = 0; i < kMaxActuators; ++i) {
    held_[i].stop = kStopFree;
    held_[i].effort = 0;
    pulses_[i].running = false;
  }
  writeChanged(0);  // nothing that is wanted now depends on the time
}

bool Actuators::update(uint32_t nowUs) {
  bool expired = false;
  if (holding_ && reached(nowUs, holdEndsUs_)) {
    expired = true;
    release();
  }
  for (uint8_t i = 0; i < spec_.actuatorCount; ++i) {
    Pulse& pulse = pulses_[i];
    if (pulse.running && nowUs - pulse.startUs >= pulse.durationUs) pulse.running = false;
  }
  writeChanged(nowUs);
  return expired;
}

bool Actuators::pulsing() const {
  for (uint8_t i = 0; i < spec_.actuatorCount; ++i) {
    if (pulses_[i].running) return true;
  }
  return false;
}

Actuators::Command Actuators::wanted(uint8_t actuator, uint32_t nowUs) const {
  Command command = held_[actuator];
  const Pulse& pulse = pulses_[actuator];
  if (!pulse.running) return command;
  if (pulse.halfPeriodUs != 0 && ((nowUs - pulse.startUs) / pulse.halfPeriodUs) % 2 != 0) return command;
  if (spec_.actuators[actuator].kind == actuator_kind::vibration) {
    command.stop = pulse.amplitude == 0 ? kStopFree : static_cast<uint16_t>(0);
    command.effort = pulse.amplitude;
  } else if (command.stop != kStopFree) {
    command.effort = pulse.amplitude;
    if (pulse.amplitude == 0) command.stop = kStopFree;
  }
  return command;
}

void Actuators::writeChanged(uint32_t nowUs) {
  for (uint8_t i = 0; i < spec_.actuatorCount; ++i) {
    const Command command = wanted(i, nowUs);
    Command& written = written_[i];
    if (command.stop == written.stop && command.effort == written.effort) continue;
    written = command;
    hardware_.writeActuator(hardware_.context, i, command.stop, command.effort);
  }
}

}  // namespace tautline
