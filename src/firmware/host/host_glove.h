// A whole glove in one process: the firmware's core, a simulated hand, a pseudo-terminal.
#ifndef TAUTLINE_HOST_GLOVE_H
#define TAUTLINE_HOST_GLOVE_H

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "../core/glove.h"
#include "pty_link.h"
#include "simulated_hand.h"

struct Options {
  uint8_t hand = tautline::hand::right;
  std::string deviceId;  // 16 hex digits; made from hand and seed if empty
  unsigned rateHz = 250;
  unsigned maxRateHz = 1000;
  std::vector<std::string> channels;
  std::vector<std::string> actuators;  // role or role:kind
  unsigned bits = 12;
  unsigned firmwareVersion = tautline::kFirmwareVersion;
  double noiseCounts = 1.5;
  uint32_t seed = 1;
  uint32_t clockUs = 0;  // where the device clock starts
  bool physics = false;
  Drive drive = Drive::hobby;
  bool manualTime = false;  // time stands still but for `advance`
};

// Seconds on the clock that never steps.
double monotonicSeconds();

class HostGlove {
 public:
  // Throws std::runtime_error on options that make no glove.
  explicit HostGlove(const Options& options);

  // Everything that is due now.
  void run();
  // How long nothing is due, in seconds.
  double idleSeconds() const;
  bool frozen() const { return now_ < frozenUntil_; }
  // Answers one line of the side channel (see README.md).
  std::string command(const std::string& line);
  // What happened since the last call, as JSON lines.
  std::vector<std::string> takeEvents();
  bool quitting() const { return quitting_; }
  // Microseconds on CLOCK_MONOTONIC = clockUs + microseconds of the device clock, until that wraps or restarts.
  int64_t clockUs() const;

  PtyLink link;
  SimulatedHand hand;

 private:
  static HostGlove& self(void* context) { return *static_cast<HostGlove*>(context); }
  void boot();
  void listChannels();
  void event(const std::string& fields);
  // Seconds on the clock that this glove lives by.
  double time() const;
  uint32_t deviceUs(double at) const;
  uint16_t batteryMv() const;
  int16_t temperature() const;
  void advance(double seconds);
  std::string exchange(const std::vector<std::string>& words);
  std::string servoJson(size_t index) const;
  std::string channelJson(size_t index) const;
  std::string statsJson() const;
  std::string fault(const std::vector<std::string>& words);
  std::string crossTalk(const std::vector<std::string>& words);
  std::string pose(const std::vector<std::string>& words);

  Options options_;
  std::vector<tautline::ChannelSpec> allSpecs_;
  std::vector<tautline::ChannelSpec> channelSpecs_;  // of those that are sent
  std::vector<size_t> sent_;
  std::vector<tautline::ActuatorSpec> actuatorSpecs_;
  tautline::BoardSpec board_ = {};
  tautline::Hardware hardware_ = {};
  std::unique_ptr<tautline::Glove> glove_;

  double now_ = 0;
  double manualTime_ = 0;
  double bootedAt_ = 0;
  double frozenUntil_ = 0;
  uint16_t buttons_ = 0;
  int batteryMv_ = -1;  // below 0: nobody has said
  int16_t temperature_ = tautline::kTemperatureUnknown;
  uint16_t boardFaults_ = 0;
  unsigned boots_ = 0;
  uint16_t tripsSeen_ = 0;
  bool connectedSeen_ = false;
  bool holdingSeen_ = false;
  bool frozenSeen_ = false;
  bool quitting_ = false;
  std::vector<std::string> events_;
};

#endif  // TAUTLINE_HOST_GLOVE_H
