#include "physics_commands.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>

#include "text.h"

namespace {

// Greatest speed of a movement when none is named: a fist in 0.35 s.
constexpr double kUsualSpeed = 1.875 / 0.35;

const char* const kFingerNames[] = {"thumb", "index", "middle", "ring", "little"};

int findFinger(const std::string& nameOrNumber) {
  for (int i = 0; i < 5; ++i) {
    if (nameOrNumber == kFingerNames[i] || nameOrNumber == std::to_string(i)) return i;
  }
  return -1;
}

std::string bodyJson(const SimulatedHand& hand, size_t index, const std::function<uint32_t(double)>& deviceUs) {
  const Finger& finger = hand.physics->fingers[index];
  const ServoPhysics& servo = finger.servo;
  std::string text = format(
      "{\"finger\":\"%s\",\"curl\":%.5f,\"velocity\":%.3f,\"sensedCurl\":%.5f,\"tensionN\":%.3f,\"peakCurl\":%.5f,"
      "\"peakTensionN\":%.3f",
      kFingerNames[index], finger.body.curl(), finger.body.curlSpeed(), finger.body.sensedCurl(),
      finger.body.tension(), finger.body.peakCurl(), finger.body.peakTension());
  if (finger.hasServo) {
    // The command that holds now is the last one of the string stop that acts on this finger.
    double writtenAt = 0;
    for (const SimulatedServo& output : hand.servos) {
      if (output.spec.role == index + 1 && output.spec.kind == tautline::actuator_kind::string_stop) {
        writtenAt = output.writtenAt;
      }
    }
    text += format(
        ",\"servoDeg\":%.2f,\"targetDeg\":%.2f,\"stopCurl\":%.5f,\"currentA\":%.3f,\"temperatureC\":%.2f,"
        "\"reversals\":%u,\"free\":%s,\"writtenUs\":%u,\"yieldedUs\":",
        servo.angle() * 180 / M_PI, servo.target() * 180 / M_PI, servo.paidOut() / finger.body.model.travel,
        servo.amperes(), servo.temperature(), servo.reversals(), yesNo(finger.freed), deviceUs(writtenAt));
    text += finger.yieldedAt < 0 ? "null" : format("%u", deviceUs(finger.yieldedAt));
  }
  return text + "}";
}

std::string intend(SimulatedHand& hand, size_t finger, double curl, double speed) {
  const int channel = hand.intentChannel(finger);
  if (channel < 0) return std::string("error no channel senses the flexion of the ") + kFingerNames[finger];
  hand.intend(static_cast<size_t>(channel), curl, speed);
  hand.physics->fingers[finger].body.markPeaks();
  return "ok";
}

// servo-fault none|dead|reversed FINGER, servo-fault slow FINGER PART
std::string servoFault(HandPhysics& physics, const std::vector<std::string>& words) {
  const size_t count = words.size() - 1;
  const std::string kind = count > 0 ? words[1] : "";
  const bool slow = kind == "slow";
  const bool known = slow || kind == "none" || kind == "dead" || kind == "reversed";
  double part = kind == "dead" ? 0 : 1;
  if (!known || count != (slow ? 3u : 2u) || (slow && !parse(words[3], part))) {
    return "error servo-fault none|dead|reversed FINGER, or: servo-fault slow FINGER PART";
  }
  if (slow && (part <= 0 || part > 1)) return "error the part must be above 0, and at most 1";
  const int finger = findFinger(words[2]);
  if (finger < 0 || !physics.fingers[static_cast<size_t>(finger)].hasServo) return "error no servo at " + words[2];
  physics.breakServo(static_cast<size_t>(finger), part, kind == "reversed");
  return "ok";
}

// servo-swap FINGER FINGER
std::string servoSwap(HandPhysics& physics, const std::vector<std::string>& words) {
  if (words.size() != 3) return "error servo-swap FINGER FINGER";
  size_t plugs[2] = {};
  for (size_t i = 0; i < 2; ++i) {
    const int finger = findFinger(words[i + 1]);
    if (finger < 0 || !physics.fingers[static_cast<size_t>(finger)].hasServo) return "error no servo at " + words[i + 1];
    plugs[i] = static_cast<size_t>(finger);
  }
  physics.exchangeServos(plugs[0], plugs[1]);
  return "ok";
}

}  // namespace

std::string physicsCommand(SimulatedHand& hand, const std::vector<std::string>& words,
                           const std::function<uint32_t(double)>& deviceUs) {
  const std::string& verb = words[0];
  const size_t count = words.size() - 1;
  const bool ours = verb == "intend" || verb == "grasp" || verb == "body" || verb == "bodies" ||
                    verb == "supply" || verb == "strength" || verb == "slack" || verb == "servo-fault" ||
                    verb == "servo-swap";
  if (!ours) return "";
  if (!hand.physics) return "error " + verb + " needs --physics";
  HandPhysics& physics = *hand.physics;
  if (verb == "servo-fault") return servoFault(physics, words);
  if (verb == "servo-swap") return servoSwap(physics, words);

  // Numbers after the first `names` words.
  const size_t names = verb == "intend" ? 1 : 0;
  double number[2] = {0, kUsualSpeed};
  if (verb != "body") {
    if (count < names || count > names + 2) return "error wrong number of words: " + verb;
    for (size_t i = names; i < count; ++i) {
      if (!parse(words[i + 1], number[i - names])) return "error not a number: " + words[i + 1];
    }
  }
  const size_t numbers = count - std::min(count, names);

  if (verb == "body" || verb == "intend") {
    if (verb == "body" ? count != 1 : numbers < 1) return "error " + verb + " FINGER" + (names ? " CURL [SPEED]" : "");
    const int finger = findFinger(words[1]);
    if (finger < 0) return "error no finger " + words[1];
    if (verb == "body") return bodyJson(hand, static_cast<size_t>(finger), deviceUs);
    if (number[1] <= 0) return "error the speed must be above 0";
    return intend(hand, static_cast<size_t>(finger), number[0], number[1]);
  }
  if (verb == "grasp") {
    if (numbers < 1) return "error grasp CURL [SPEED]";
    if (number[1] <= 0) return "error the speed must be above 0";
    for (size_t i = 0; i < HandPhysics::kFingers; ++i) {
      if (hand.intentChannel(i) >= 0) intend(hand, i, number[0], number[1]);
    }
    return "ok";
  }
  if (verb == "bodies") {
    std::string all;
    for (size_t i = 0; i < HandPhysics::kFingers; ++i) all += (i ? "," : "") + bodyJson(hand, i, deviceUs);
    return "[" + all + "]";
  }
  if (verb == "supply") {
    if (numbers == 2) {
      if (number[0] < 0 || number[1] < 0) return "error volts and ohms must not be negative";
      physics.supply.openVolts = number[0];
      physics.supply.ohms = number[1];
      return "ok";
    }
    if (numbers != 0) return "error supply [VOLTS OHMS]";
    return format("{\"volts\":%.4f,\"amperes\":%.4f,\"openVolts\":%.3f,\"ohms\":%.3f,\"hottestC\":%.2f}",
                  physics.supply.volts, physics.supply.amperes, physics.supply.openVolts, physics.supply.ohms,
                  physics.hottest());
  }
  if (numbers != 1 || number[0] < 0) return "error " + verb + " takes one number, not negative";
  for (Finger& finger : physics.fingers) {
    if (verb == "strength") finger.body.model.strength = number[0];
    if (verb == "slack") finger.body.model.slack = number[0] / 1000;
  }
  return "ok";
}
