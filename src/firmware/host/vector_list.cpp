#include "vector_list.h"

#include "../core/protocol_table.h"

using namespace tautline;

namespace {

using Rows = std::vector<std::vector<unsigned>>;

Vector hello(const std::string& name, uint8_t seq, unsigned handCode, const Bytes& id, unsigned rateHz,
             const Rows& channels, const Rows& actuators) {
  return VectorBody()
      .u8("protocol", kProtocolVersion)
      .u8("hand", handCode)
      .raw("deviceId", id, "\"" + hexOf(id) + "\"")
      .u16("firmwareVersion", 0x0102)
      .u16("sampleRateHz", rateHz)
      .u8("channelCount", static_cast<unsigned>(channels.size()))
      .u8("actuatorCount", static_cast<unsigned>(actuators.size()))
      .records("channels", {"role", "bits"}, {1, 1}, channels)
      .records("actuators", {"role", "kind"}, {1, 1}, actuators)
      .as(name, message::hello, seq);
}

Vector samples(const std::string& name, uint8_t seq, uint32_t timeUs, unsigned buttons,
               const std::vector<unsigned>& channels) {
  return VectorBody().u32("deviceTimeUs", timeUs).u16("buttons", buttons).u16s("channels", channels).as(
      name, message::samples, seq);
}

Vector state(const std::string& name, uint8_t seq, unsigned batteryMv, int temperature, unsigned faults,
             unsigned dropped, unsigned trips, const std::vector<unsigned>& positions) {
  return VectorBody()
      .u16("batteryMv", batteryMv)
      .i16("temperatureDeciC", temperature)
      .u16("faultBits", faults)
      .u16("framesDropped", dropped)
      .u16("watchdogTrips", trips)
      .u16s("positions", positions)
      .as(name, message::state, seq);
}

// `text` must need no escapes in JSON.
Vector note(const std::string& name, uint8_t seq, const std::string& text) {
  return VectorBody().raw("text", Bytes(text.begin(), text.end()), "\"" + text + "\"").as(name, message::note, seq);
}

Vector resist(const std::string& name, uint8_t seq, unsigned validForMs, const Rows& actuators) {
  return VectorBody()
      .u16("validForMs", validForMs)
      .records("actuators", {"stop", "effort"}, {2, 1}, actuators)
      .as(name, message::resist, seq);
}

}  // namespace

std::string hexOf(const Bytes& bytes) {
  static const char digits[] = "0123456789abcdef";
  std::string text;
  for (const uint8_t byte : bytes) {
    text += digits[byte >> 4];
    text += digits[byte & 15];
  }
  return text;
}

std::vector<Vector> linkVectors() {
  const Bytes id = {0x01, 0x23, 0x45, 0x67, 0x89, 0xab, 0xcd, 0xef};
  const Rows curls = {{channel_role::thumb_curl, 12},
                      {channel_role::index_curl, 12},
                      {channel_role::middle_curl, 12},
                      {channel_role::ring_curl, 12},
                      {channel_role::little_curl, 12},
                      {channel_role::stick_x, 10},
                      {channel_role::stick_y, 10}};
  const Rows stops = {{actuator_role::thumb, actuator_kind::string_stop},
                      {actuator_role::index, actuator_kind::string_stop},
                      {actuator_role::middle, actuator_kind::string_stop},
                      {actuator_role::ring, actuator_kind::brake},
                      {actuator_role::little, actuator_kind::vibration}};
  const Rows mostChannels(kMaxChannels, {channel_role::spare, 16});
  const Rows mostActuators(kMaxActuators, {actuator_role::palm, actuator_kind::vibration});

  std::vector<Vector> list = {
      hello("hello of a right hand", 0, hand::right, id, 250, curls, stops),
      hello("hello of a left hand that only senses", 255, hand::left, Bytes(8, 0), 1000, curls, {}),
      hello("hello with every channel and actuator there can be", 7, hand::right, Bytes(8, 0xff), 65535,
            mostChannels, mostActuators),

      samples("samples of seven channels", 1, 123456, 0x0005, {491, 1000, 2047, 3000, 3604, 512, 511}),
      samples("samples all zero", 0, 0, 0, {0, 0, 0, 0, 0, 0, 0}),
      samples("samples all ones", 255, 0xffffffff, 0xffff, {65535, 65535, 65535, 65535, 65535, 65535, 65535}),
      samples("samples just before the clock wraps", 16, 0xfffffffe, 0x8000, {1, 256, 0, 257, 4095, 0, 1023}),
      samples("samples just after the clock wraps", 17, 3998, 0x8000, {1, 256, 0, 257, 4095, 0, 1023}),
      samples("samples of a glove without channels", 2, 1, 2, {}),
      samples("samples of 32 channels", 3, 0x01020304, 0x0a0b, std::vector<unsigned>(kMaxChannels, 0x00ff)),

      state("state in good health", 4, 3712, 314, 0, 0, 0, {65535, 65535, 65535, 65535, 65535}),
      state("state with nothing known", 5, 0, kTemperatureUnknown, 0, 0, 0, {}),
      state("state below freezing with every fault", 6, 3200, -105, 0x001f, 65535, 258, {0, 1, 32767, 65534, 65535}),

      VectorBody().u32("token", 0xdeadbeef).u32("deviceTimeUs", 4000000000U).as("pong", message::pong, 8),
      VectorBody().u32("token", 0).u32("deviceTimeUs", 0).as("pong all zero", message::pong, 0),

      note("note", 9, "String of the index finger was slack at start"),
      note("note without text", 10, ""),
      note("note beyond ASCII", 11, "Temperatur 31,5 \xc2\xb0""C \xe2\x80\x93 warm"),
      note("note of the longest payload", 12, std::string(kMaxPayload - 4, 'x')),

      VectorBody().u8("protocol", kProtocolVersion).as("hello asked for", message::ask_hello, 0),

      resist("resist two fingers", 1, 250, {{65535, 0}, {20000, 200}, {32767, 255}, {65535, 0}, {65535, 0}}),
      resist("resist everything fully", 2, 1000, {{0, 255}, {0, 255}, {0, 255}, {0, 255}, {0, 255}}),
      resist("resist that is over at once", 3, 0, {{1, 1}, {256, 16}, {65534, 128}, {255, 0}, {65280, 1}}),
      resist("resist of a glove without actuators", 4, 250, {}),

      VectorBody().as("release", message::release, 5),
      VectorBody().as("release whose sequence number is 0", message::release, 0),
      VectorBody().u32("token", 0x00010002).as("ping", message::ping, 6),
      VectorBody().u16("sampleRateHz", 500).as("rate", message::rate, 7),
      VectorBody()
          .u8("actuator", 4)
          .u8("amplitude", 128)
          .u16("durationMs", 60)
          .u16("frequencyHz", 175)
          .as("pulse", message::pulse, 8),
  };

  // Types that this version does not know: to be counted and skipped. The longest payload there can be, without
  // and with zeros.
  Bytes bytes(kMaxPayload - 4);
  for (size_t i = 0; i < bytes.size(); ++i) bytes[i] = static_cast<uint8_t>(i + 1);
  list.push_back({"unknown type, longest payload without zeros", 0x7f, 1, bytes, "{}"});
  list.push_back({"unknown type, longest payload of zeros", 0x7f, 0, Bytes(kMaxPayload - 4, 0), "{}"});
  list.push_back({"unknown type 0", 0x00, 0, {0x00, 0xff, 0x00}, "{}"});
  return list;
}
