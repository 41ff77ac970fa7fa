// Checks of the core: `make test`, or core_test PATH_TO_VECTORS_JSON. Prints what fails; exit code 1 if anything.

#include <cstdio>
#include <cstring>
#include <fstream>
#include <functional>
#include <sstream>
#include <string>
#include <vector>

#include "../core/glove.h"
#include "vector_list.h"

using namespace tautline;

namespace {

int checks = 0;
int failures = 0;

void check(bool good, const char* what, const char* file, int line) {
  ++checks;
  if (good) return;
  ++failures;
  std::fprintf(stderr, "%s:%d: failed: %s\n", file, line, what);
}
#define CHECK(condition) check((condition), #condition, __FILE__, __LINE__)
// Named `context`, for checks in a loop over cases.
#define CHECK_FOR(context, condition) \
  check((condition), (std::string(context) + ": " #condition).c_str(), __FILE__, __LINE__)

// ---- bytes ----

Bytes fromHex(const std::string& hex) {
  Bytes bytes;
  for (size_t i = 0; i + 1 < hex.size(); i += 2) {
    bytes.push_back(static_cast<uint8_t>(std::stoul(hex.substr(i, 2), nullptr, 16)));
  }
  return bytes;
}

Bytes run(unsigned first, unsigned last) {
  Bytes bytes;
  for (unsigned i = first; i <= last; ++i) bytes.push_back(static_cast<uint8_t>(i));
  return bytes;
}

Bytes join(std::initializer_list<Bytes> parts) {
  Bytes all;
  for (const Bytes& part : parts) {
    for (const uint8_t byte : part) all.push_back(byte);
  }
  return all;
}

Bytes frameOf(uint8_t type, uint8_t seq, const Bytes& body) {
  FrameWriter writer;
  writer.begin(type, seq);
  writer.bytes(body.data(), static_cast<uint16_t>(body.size()));
  const uint16_t length = writer.finish();
  return Bytes(writer.data(), writer.data() + length);
}

Bytes cobs(const Bytes& data, size_t capacity = 1024) {
  Bytes out(capacity);
  CobsEncoder encoder;
  encoder.begin(out.data(), static_cast<uint16_t>(capacity));
  for (const uint8_t byte : data) encoder.put(byte);
  out.resize(encoder.finish());
  return out;
}

uint16_t crcOf(const Bytes& bytes) {
  uint16_t crc = kCrc16Init;
  for (const uint8_t byte : bytes) crc = crc16(crc, byte);
  return crc;
}

int feed(FrameReader& reader, const Bytes& bytes) {
  int frames = 0;
  for (const uint8_t byte : bytes) frames += reader.put(byte) ? 1 : 0;
  return frames;
}

// ---- published values ----

void testCrc() {
  // Check value of CRC-16 with polynomial 0x1021, initial 0xFFFF, no reflection (catalogued as CRC-16/IBM-3740).
  const char text[] = "123456789";
  CHECK(crcOf(Bytes(text, text + 9)) == 0x29b1);
  CHECK(crcOf({}) == 0xffff);
  // Against the definition, bit by bit.
  uint16_t slow = kCrc16Init;
  uint16_t fast = kCrc16Init;
  bool same = true;
  for (unsigned i = 0; i < 4096; ++i) {
    const uint8_t byte = static_cast<uint8_t>(i * 167 + (i >> 3));
    slow = static_cast<uint16_t>(slow ^ (byte << 8));
    for (int bit = 0; bit < 8; ++bit) {
      slow = static_cast<uint16_t>((slow & 0x8000) ? (slow << 1) ^ kCrc16Poly : slow << 1);
    }
    fast = crc16(fast, byte);
    same = same && slow == fast;
  }
  CHECK(same);
}

void testCobsExamples() {
  // The usual table of COBS encoding examples (it is in the encyclopaedia article on COBS; from memory). The rules
  // are those of Cheshire & Baker, IEEE/ACM ToN 7(2), 1999, here with the closing 0.
  struct Example {
    Bytes data;
    Bytes frame;
  };
  const Example examples[] = {
      {{0x00}, {0x01, 0x01, 0x00}},
      {{0x00, 0x00}, {0x01, 0x01, 0x01, 0x00}},
      {{0x00, 0x11, 0x00}, {0x01, 0x02, 0x11, 0x01, 0x00}},
      {{0x11, 0x22, 0x00, 0x33}, {0x03, 0x11, 0x22, 0x02, 0x33, 0x00}},
      {{0x11, 0x22, 0x33, 0x44}, {0x05, 0x11, 0x22, 0x33, 0x44, 0x00}},
      {{0x11, 0x00, 0x00, 0x00}, {0x02, 0x11, 0x01, 0x01, 0x01, 0x00}},
      {run(0x01, 0xfe), join({{0xff}, run(0x01, 0xfe), {0x00}})},
      {run(0x00, 0xfe), join({{0x01, 0xff}, run(0x01, 0xfe), {0x00}})},
      {run(0x01, 0xff), join({{0xff}, run(0x01, 0xfe), {0x02, 0xff, 0x00}})},
      {join({run(0x02, 0xff), {0x00}}), join({{0xff}, run(0x02, 0xff), {0x01, 0x01, 0x00}})},
      {join({run(0x03, 0xff), {0x00, 0x01}}), join({{0xfe}, run(0x03, 0xff), {0x02, 0x01, 0x00}})},
  };
  for (const Example& example : examples) CHECK_FOR(hexOf(example.data), cobs(example.data) == example.frame);
  CHECK(cobs({1, 2, 3}, 5).size() == 5);
  CHECK(cobs({1, 2, 3}, 4).empty());
  CHECK(cobs({0, 0, 0}, 4).empty());
}

// ---- vectors.json ----

// The file is written by this project, one string value a key: no need of a whole JSON reader.
std::vector<std::string> valuesOf(const std::string& text, const std::string& key) {
  std::vector<std::string> values;
  const std::string quoted = "\"" + key + "\": \"";
  for (size_t at = 0; (at = text.find(quoted, at)) != std::string::npos;) {
    at += quoted.size();
    values.push_back(text.substr(at, text.find('"', at) - at));
  }
  return values;
}

void testVectors(const char* path) {
  std::ifstream file(path);
  std::stringstream content;
  content << file.rdbuf();
  const std::string text = content.str();
  const size_t split = text.find("\"cobs\": [");
  CHECK(split != std::string::npos);
  if (split == std::string::npos) return;
  const std::string messages = text.substr(0, split);
  const std::string plain = text.substr(split);

  const std::vector<Vector> list = linkVectors();
  const std::vector<std::string> names = valuesOf(messages, "name");
  const std::vector<std::string> payloads = valuesOf(messages, "payload");
  const std::vector<std::string> frames = valuesOf(messages, "frame");
  CHECK(names.size() == list.size() && payloads.size() == list.size() && frames.size() == list.size());
  if (frames.size() != list.size() || payloads.size() != list.size() || names.size() != list.size()) return;

  FrameReader reader;
  for (size_t i = 0; i < list.size(); ++i) {
    const Vector& vector = list[i];
    const Bytes frame = fromHex(frames[i]);
    const Bytes payload = fromHex(payloads[i]);
    CHECK_FOR(vector.name, names[i] == vector.name);
    CHECK_FOR(vector.name, frameOf(vector.type, vector.seq, vector.body) == frame);
    CHECK_FOR(vector.name, cobs(payload) == frame);
    CHECK_FOR(vector.name, feed(reader, frame) == 1);
    CHECK_FOR(vector.name, reader.type() == vector.type && reader.seq() == vector.seq);
    CHECK_FOR(vector.name, Bytes(reader.body(), reader.body() + reader.bodyLength()) == vector.body);
    // A CRC over a payload with its CRC (high byte first) is 0.
    Bytes whole = payload;
    std::swap(whole[whole.size() - 1], whole[whole.size() - 2]);
    CHECK_FOR(vector.name, crcOf(whole) == 0);
  }
  CHECK(reader.counters().frames == list.size());

  const std::vector<std::string> data = valuesOf(plain, "data");
  const std::vector<std::string> encoded = valuesOf(plain, "frame");
  CHECK(data.size() == encoded.size() && data.size() > 10);
  for (size_t i = 0; i < data.size(); ++i) CHECK_FOR(data[i], cobs(fromHex(data[i])) == fromHex(encoded[i]));
}

// ---- reader ----

void testReader() {
  const Bytes good = frameOf(message::ping, 3, {1, 0, 2, 0});
  {
    FrameReader reader;
    CHECK(feed(reader, join({{0, 0, 0}, good, {0, 0}, good})) == 2);
    CHECK(reader.counters().frames == 2 && reader.counters().tooShort == 0 && reader.counters().badCobs == 0);
  }
  {
    // Started in the middle of a frame: that one is lost, the next is not.
    FrameReader reader;
    const Bytes tail(good.begin() + 4, good.end());
    CHECK(feed(reader, join({tail, good})) == 1);
    const LinkCounters& c = reader.counters();
    CHECK(c.badCrc + c.badCobs + c.tooShort == 1);
  }
  {
    // The 0 between two frames is lost: both go, no more.
    FrameReader reader;
    Bytes merged = good;
    merged.pop_back();
    CHECK(feed(reader, join({merged, good, good})) == 1);
    const LinkCounters& c = reader.counters();
    CHECK(c.badCrc + c.badCobs == 1);
  }
  {
    FrameReader reader;
    CHECK(feed(reader, {0x05, 0x11, 0x00}) == 0 && reader.counters().badCobs == 1);
    CHECK(feed(reader, {0x04, 0x11, 0x22, 0x33, 0x00}) == 0 && reader.counters().tooShort == 1);
    CHECK(feed(reader, {0x01, 0x00}) == 0 && reader.counters().tooShort == 2);
    CHECK(feed(reader, good) == 1);
  }
  {
    // Far too long, with and without zeros in the data: one count, bounded memory, then on as before.
    FrameReader reader;
    CHECK(feed(reader, join({Bytes(5000, 0xff), {0}, Bytes(5000, 0x01), {0}, good})) == 1);
    CHECK(reader.counters().tooLong == 2 && reader.counters().frames == 1);
  }
  {
    FrameReader reader;
    const Bytes longest = frameOf(0x7f, 1, Bytes(kMaxPayload - 4, 0xaa));
    CHECK(longest.size() == kMaxFrame && feed(reader, longest) == 1);
    CHECK(frameOf(0x7f, 1, Bytes(kMaxPayload - 3, 0xaa)).empty());
    CHECK(frameOf(0x7f, 1, Bytes(kMaxPayload - 3, 0x00)).empty());
    CHECK(feed(reader, cobs(Bytes(kMaxPayload + 1, 0x55))) == 0 && reader.counters().tooLong == 1);
  }
  {
    // Every single flipped bit is found, and costs that frame alone (or two, if it makes or breaks a 0).
    int missed = 0;
    for (size_t bit = 0; bit < 8 * (good.size() - 1); ++bit) {
      FrameReader reader;
      Bytes bad = good;
      bad[bit / 8] = static_cast<uint8_t>(bad[bit / 8] ^ (1U << (bit % 8)));
      missed += feed(reader, join({bad, good})) == 1 ? 0 : 1;
    }
    CHECK(missed == 0);
  }
}

// ---- schedule ----

void testSchedule() {
  {
    // 300 Hz does not divide a second; after a minute there is still no drift. Starts just before the wrap.
    SampleSchedule schedule;
    const uint32_t start = 0xffffffffU - 30000000U;
    schedule.start(300, start);
    unsigned points = 0;
    unsigned late = 0;
    for (uint32_t t = 0; t < 60000000U; t += 250) {
      const unsigned taken = schedule.take(start + t);
      points += taken;
      late += taken > 1 ? 1 : 0;
    }
    CHECK(points == 60 * 300);
    CHECK(late == 0);
  }
  {
    // A stall of 35 ms at 100 Hz: the points are counted, the grid stays.
    SampleSchedule schedule;
    schedule.start(100, 0xfffffff0U);
    CHECK(schedule.take(0xfffffff0U) == 1);
    CHECK(schedule.take(0xfffffff0U + 9999U) == 0);
    CHECK(schedule.take(0xfffffff0U + 45000U) == 4);
    CHECK(schedule.untilNextUs(0xfffffff0U + 45000U) == 5000);
    CHECK(schedule.take(0xfffffff0U + 50000U) == 1);
  }
  {
    // A stall of a minute at 1 kHz.
    SampleSchedule schedule;
    schedule.start(1000, 0);
    CHECK(schedule.take(0) == 1);
    CHECK(schedule.take(60000000U) == 60000);
    CHECK(schedule.take(60000000U) == 0);
    CHECK(schedule.take(60001000U) == 1);
    // So many that they do not fit the counter.
    CHECK(schedule.take(60001000U + 600000000U) == 0xffff);
  }
  {
    SampleSchedule schedule;
    schedule.start(0, 5);
    CHECK(schedule.rateHz() == 1 && schedule.take(5) == 1 && schedule.untilNextUs(5) == 1000000);
  }
}

// ---- glove ----

struct Sent {
  uint8_t type;
  uint8_t seq;
  Bytes body;
};

// A board of nothing but variables.
struct Bench {
  uint32_t clock = 1000;
  uint16_t battery = 0;
  int16_t celsius10 = kTemperatureUnknown;
  uint16_t boardFaults = 0;
  uint16_t freeBytes = 4096;
  std::vector<Sent> sent;
  uint16_t stops[5] = {1, 1, 1, 1, 1};
  uint8_t efforts[5] = {1, 1, 1, 1, 1};
  int writes = 0;
  FrameReader reader;

  ChannelSpec channels[3] = {{channel_role::thumb_curl, 12}, {channel_role::index_curl, 12}, {channel_role::stick_x, 10}};
  ActuatorSpec actuators[5] = {{actuator_role::thumb, actuator_kind::string_stop, 2000, 1000, 800},
                               {actuator_role::index, actuator_kind::string_stop, 1000, 2000, 2200},
                               {actuator_role::middle, actuator_kind::string_stop, 1000, 2000, 2200},
                               {actuator_role::ring, actuator_kind::brake, 0, 0, 0},
                               {actuator_role::palm, actuator_kind::vibration, 0, 0, 0}};
  BoardSpec spec = {hand::left, {1, 2, 3, 4, 5, 6, 7, 8}, 0x0203, 100, 500, 3, 5, channels, actuators, 3300, 700};
  Hardware hardware = {};
  Glove glove;

  explicit Bench(uint32_t start = 1000) : clock(start), glove(spec, hardware) {
    hardware.context = this;
    hardware.nowUs = [](void* c) { return of(c).clock; };
    hardware.readChannel = [](void*, uint8_t i) { return static_cast<uint16_t>(1000 + i); };
    hardware.readButtons = [](void*) { return static_cast<uint16_t>(0x8001); };
    hardware.writeActuator = [](void* c, uint8_t i, uint16_t stop, uint8_t effort) {
      of(c).stops[i] = stop;
      of(c).efforts[i] = effort;
      ++of(c).writes;
    };
    hardware.txFree = [](void* c) { return of(c).freeBytes; };
    hardware.write = [](void* c, const uint8_t* data, uint16_t length) {
      for (uint16_t i = 0; i < length; ++i) {
        if (!of(c).reader.put(data[i])) continue;
        const FrameReader& r = of(c).reader;
        of(c).sent.push_back({r.type(), r.seq(), Bytes(r.body(), r.body() + r.bodyLength())});
      }
    };
    hardware.batteryMv = [](void* c) { return of(c).battery; };
    hardware.temperature = [](void* c) { return of(c).celsius10; };
    hardware.faults = [](void* c) { return of(c).boardFaults; };
    glove.begin();
  }
  static Bench& of(void* context) { return *static_cast<Bench*>(context); }

  void send(uint8_t type, const Bytes& body) {
    for (const uint8_t byte : frameOf(type, 0, body)) glove.receive(byte);
  }
  void resist(uint16_t validForMs, uint8_t actuator, uint16_t stop, uint8_t effort) {
    Bytes body = {static_cast<uint8_t>(validForMs & 255), static_cast<uint8_t>(validForMs >> 8)};
    for (unsigned i = 0; i < 5; ++i) {
      const uint16_t s = i == actuator ? stop : kStopFree;
      body.push_back(static_cast<uint8_t>(s & 255));
      body.push_back(static_cast<uint8_t>(s >> 8));
      body.push_back(i == actuator ? effort : static_cast<uint8_t>(0));
    }
    send(message::resist, body);
  }
  void ping() { send(message::ping, {1, 2, 3, 4}); }
  // Runs for so long, polling every half millisecond.
  void pass(uint32_t ms) {
    for (uint32_t i = 0; i < 2 * ms; ++i) {
      clock += 500;
      glove.poll();
    }
  }
  // The same with a host that pings every 100 ms.
  void passAlive(uint32_t ms) {
    for (uint32_t i = 0; i < ms; i += 100) {
      ping();
      pass(100);
    }
  }
  std::vector<Sent> take(uint8_t type) {
    std::vector<Sent> found;
    for (const Sent& message : sent) {
      if (message.type == type) found.push_back(message);
    }
    sent.clear();
    return found;
  }
  bool faulted(uint8_t bit) const { return (glove.faults() & (1U << bit)) != 0; }
};

void testHello() {
  Bench bench;
  for (unsigned i = 0; i < 5; ++i) CHECK(bench.stops[i] == kStopFree && bench.efforts[i] == 0);
  CHECK(bench.sent.size() == 2 && bench.sent[0].type == message::hello && bench.sent[1].type == message::state);
  const Bytes expected = {1, 0, 1, 2, 3, 4, 5, 6, 7, 8, 0x03, 0x02, 100, 0, 3, 5,
                          0x10, 12, 0x20, 12, 0x80, 10, 1, 1, 2, 1, 3, 1, 4, 2, 6, 3};
  CHECK(bench.sent[0].body == expected);
  bench.sent.clear();
  bench.send(message::ask_hello, {1});
  bench.pass(1);
  const std::vector<Sent> hellos = bench.take(message::hello);
  CHECK(hellos.size() == 1 && hellos[0].body == expected);

  // A rate beyond the board's is cut to it, and said.
  bench.send(message::rate, {0xff, 0xff});
  bench.pass(1);
  const std::vector<Sent> after = bench.take(message::hello);
  CHECK(after.size() == 1 && after[0].body[12] == 0xf4 && after[0].body[13] == 0x01);
  CHECK(bench.glove.rateHz() == 500);
}

void testSamples() {
  // Across the wrap of the device clock.
  Bench bench(0xffffffffU - 500000U);
  bench.sent.clear();
  bench.pass(1000);
  const std::vector<Sent> samples = bench.take(message::samples);
  CHECK(samples.size() == 100 || samples.size() == 101);
  for (size_t i = 0; i < samples.size(); ++i) {
    CHECK(samples[i].seq == static_cast<uint8_t>(i));
    CHECK(samples[i].body.size() == 12);
    // The first is due at once, half a millisecond before the first poll.
    if (i > 1) CHECK(readU32(&samples[i].body[0]) - readU32(&samples[i - 1].body[0]) == 10000);
  }
  const Bytes tail(samples[0].body.begin() + 4, samples[0].body.end());
  CHECK(tail == Bytes({0x01, 0x80, 0xe8, 0x03, 0xe9, 0x03, 0xea, 0x03}));
  CHECK(bench.glove.framesDropped() == 0);

  // No room: samples are dropped and counted, and the sequence has no gap.
  bench.freeBytes = 17;
  bench.pass(100);
  CHECK(bench.sent.empty() && bench.glove.framesDropped() == 10);
  bench.freeBytes = 4096;
  const uint8_t next = static_cast<uint8_t>(samples.back().seq + 1);
  bench.pass(20);
  CHECK(bench.take(message::samples)[0].seq == next);

  // A stalled board counts the points it missed: ten are due, nine of them in vain.
  bench.clock += 105000;
  bench.glove.poll();
  CHECK(bench.glove.framesDropped() == 19);
}

void testState() {
  Bench bench;
  bench.sent.clear();
  bench.pass(5050);
  CHECK(bench.take(message::state).size() == 5);

  bench.battery = 3250;
  bench.celsius10 = -45;
  bench.pass(200);
  const std::vector<Sent> states = bench.take(message::state);
  CHECK(states.size() == 1 && states[0].body.size() == 20);
  CHECK(readU16(&states[0].body[0]) == 3250);
  CHECK(static_cast<int16_t>(readU16(&states[0].body[2])) == -45);
  CHECK(readU16(&states[0].body[4]) == (1U << fault_bit::supply_low));
  bench.battery = 3350;  // not yet clear of the limit
  bench.pass(200);
  CHECK(bench.faulted(fault_bit::supply_low));
  bench.battery = 3450;
  bench.pass(200);
  CHECK(!bench.faulted(fault_bit::supply_low));
  bench.boardFaults = 0xffff;  // only those that a board may set
  bench.pass(200);
  CHECK(bench.glove.faults() == ((1U << fault_bit::actuator_fault) | (1U << fault_bit::converter_fault)));
}

void testPongAndNote() {
  Bench bench;
  bench.sent.clear();
  bench.send(message::ping, {0xef, 0xbe, 0xad, 0xde});
  bench.glove.poll();
  const std::vector<Sent> pongs = bench.take(message::pong);
  CHECK(pongs.size() == 1 && readU32(&pongs[0].body[0]) == 0xdeadbeefU && readU32(&pongs[0].body[4]) == bench.clock);

  CHECK(bench.glove.note("warm"));
  CHECK(bench.take(message::note)[0].body == Bytes({'w', 'a', 'r', 'm'}));
  // 245 letters, then a two-byte character that would straddle the limit of 246: it goes as a whole.
  CHECK(bench.glove.note((std::string(245, 'x') + "\xc2\xb0" + "C").c_str()));
  CHECK(bench.take(message::note)[0].body.size() == 245);
  CHECK(bench.glove.note((std::string(244, 'x') + "\xc2\xb0" + "C").c_str()));
  CHECK(bench.take(message::note)[0].body.size() == 246);
  bench.freeBytes = 9;
  CHECK(!bench.glove.note("warm"));
}

void testWatchdog() {
  {
    // Silence: nothing is held 250 ms after the last valid frame, though the resist asked for more.
    Bench bench;
    bench.resist(1000, 1, 30000, 200);
    CHECK(bench.stops[1] == 30000 && bench.efforts[1] == 200 && bench.stops[0] == kStopFree);
    bench.pass(249);
    CHECK(bench.stops[1] == 30000);
    bench.sent.clear();
    bench.pass(2);
    CHECK(bench.stops[1] == kStopFree && bench.efforts[1] == 0);
    CHECK(bench.glove.watchdogTrips() == 1 && bench.faulted(fault_bit::watchdog_release));
    const std::vector<Sent> states = bench.take(message::state);
    CHECK(states.size() == 1 && readU16(&states[0].body[8]) == 1);
    // One trip, however long the silence.
    bench.pass(2000);
    CHECK(bench.glove.watchdogTrips() == 1);
    // The next resist clears the fault.
    bench.resist(200, 1, 30000, 200);
    CHECK(!bench.faulted(fault_bit::watchdog_release) && bench.stops[1] == 30000);
  }
  {
    // Expiry: pings keep the link alive but not the hold.
    Bench bench;
    bench.resist(400, 2, 100, 255);
    bench.passAlive(300);
    CHECK(bench.stops[2] == 100);
    bench.passAlive(200);
    CHECK(bench.stops[2] == kStopFree && bench.glove.watchdogTrips() == 1);
  }
  {
    // A hold never lasts longer than kMaxHoldMs, whatever it asks for.
    Bench bench;
    bench.resist(60000, 2, 100, 255);
    bench.passAlive(900);
    CHECK(bench.stops[2] == 100);
    bench.passAlive(200);
    CHECK(bench.stops[2] == kStopFree);
  }
  {
    // Renewed in time: held forever, also across the wrap of the clock. Frames that are not valid messages do not
    // count as a sign of life.
    Bench bench(0xffffffffU - 1000000U);
    for (int i = 0; i < 20; ++i) {
      bench.resist(250, 1, 500, 9);
      bench.pass(100);
    }
    CHECK(bench.stops[1] == 500 && bench.glove.watchdogTrips() == 0);
    for (int i = 0; i < 3; ++i) {
      bench.send(0x7f, {1});            // unknown type
      bench.send(message::resist, {1}); // wrong length
      bench.send(message::pulse, {9, 1, 1, 0, 0, 0});  // no such actuator
      for (const uint8_t byte : Bytes({0x05, 0x81, 0x01, 0x02, 0x03, 0x00})) bench.glove.receive(byte);
      bench.pass(100);
    }
    CHECK(bench.stops[1] == kStopFree && bench.glove.watchdogTrips() == 1);
    CHECK(bench.glove.unknownTypes() == 3 && bench.glove.badLengths() == 6 && bench.glove.linkCounters().badCrc == 3);
  }
  {
    // A board that stalls frees the fingers first, and only then reads what waited; the trip is not hidden.
    Bench bench;
    bench.resist(1000, 1, 500, 9);
    bench.clock += 600000;
    bench.ping();
    CHECK(bench.stops[1] == kStopFree && bench.glove.watchdogTrips() == 1);
  }
  {
    // Nothing held: silence is not a trip.
    Bench bench;
    bench.resist(250, 1, kStopFree, 200);
    bench.pass(1000);
    bench.resist(250, 1, 100, 0);
    bench.pass(1000);
    CHECK(bench.glove.watchdogTrips() == 0);
    bench.resist(0, 1, 100, 200);
    CHECK(bench.stops[1] == kStopFree);
    bench.pass(1000);
    CHECK(bench.glove.watchdogTrips() == 0);
  }
  {
    // Release is at once, and no trip.
    Bench bench;
    bench.resist(250, 1, 100, 200);
    bench.send(message::release, {});
    CHECK(bench.stops[1] == kStopFree);
    bench.pass(1000);
    CHECK(bench.glove.watchdogTrips() == 0);
    CHECK(bench.writes == 5 + 2);
  }
  {
    // Too hot: everything free, and nothing is held until it has cooled by 5 degrees.
    Bench bench;
    bench.celsius10 = 699;
    bench.resist(1000, 1, 100, 200);
    bench.pass(150);
    CHECK(bench.stops[1] == 100);
    bench.celsius10 = 700;
    bench.passAlive(200);
    CHECK(bench.stops[1] == kStopFree && bench.faulted(fault_bit::over_temperature));
    bench.celsius10 = 660;
    bench.passAlive(200);
    bench.resist(1000, 1, 100, 200);
    CHECK(bench.stops[1] == kStopFree);
    bench.celsius10 = 649;
    bench.passAlive(200);
    bench.resist(1000, 1, 100, 200);
    CHECK(bench.stops[1] == 100);
  }
}

// A board whose timer ticks every 5 ms, as it does while the loop hangs.
struct WatchedBench : Bench {
  LoopWatch loopWatch;
  int polled = 0;
  bool letGo = false;

  explicit WatchedBench(uint8_t limitTicks) : loopWatch(limitTicks) {
    hardware.loopWatch = &loopWatch;
    hardware.polled = [](void* c) { ++static_cast<WatchedBench*>(static_cast<Bench*>(c))->polled; };
    glove.begin();
  }
  void tick(int ticks) {
    for (int i = 0; i < ticks; ++i) {
      clock += 5000;
      letGo = loopWatch.tick();
    }
  }
};

void testLoopWatch() {
  {
    // By itself: the limit in whole ticks, and latched until it is undone, however often the loop is seen.
    LoopWatch watch(3);
    CHECK(watch.hung() && watch.tick());
    watch.resume();
    for (int i = 0; i < 100; ++i) {
      CHECK(!watch.tick() && !watch.tick() && !watch.tick());
      watch.seen();
    }
    CHECK(!watch.tick() && !watch.tick() && !watch.tick() && watch.tick() && watch.hung());
    watch.seen();
    CHECK(watch.tick() && watch.hung());
    watch.resume();
    CHECK(!watch.hung() && !watch.tick() && !watch.tick() && !watch.tick() && watch.tick());
    // The longest limit there is does not wrap.
    LoopWatch longest(255);
    longest.resume();
    for (int i = 0; i < 255; ++i) CHECK(!longest.tick());
    for (int i = 0; i < 1000; ++i) CHECK(longest.tick());
  }
  {
    // A loop that hangs while it holds: let go at the limit; when it is back, the core frees too, and counts it.
    WatchedBench bench(40);
    bench.glove.poll();
    bench.resist(1000, 1, 30000, 200);
    bench.pass(10);
    CHECK(bench.stops[1] == 30000 && bench.polled == 21);
    bench.ping();
    bench.tick(40);
    CHECK(!bench.letGo && bench.stops[1] == 30000);
    bench.tick(1);
    CHECK(bench.letGo);
    const int written = bench.writes;
    bench.glove.poll();
    // Everything is written again, because the board has done something else with its outputs meanwhile.
    CHECK(bench.stops[1] == kStopFree && bench.efforts[1] == 0 && bench.writes >= written + 5);
    CHECK(bench.glove.watchdogTrips() == 1 && bench.faulted(fault_bit::watchdog_release) && !bench.loopWatch.hung());
    bench.tick(1);
    CHECK(!bench.letGo);
    // It is usable again.
    bench.resist(1000, 1, 20000, 200);
    CHECK(bench.stops[1] == 20000 && !bench.faulted(fault_bit::watchdog_release));
  }
  {
    // A loop that reads but never polls is not seen, and what it hears by then holds nothing.
    WatchedBench bench(40);
    bench.glove.poll();
    for (int i = 0; i < 41; ++i) {
      bench.resist(1000, 1, 30000, 200);
      bench.tick(1);
    }
    CHECK(bench.stops[1] == 30000 && bench.letGo && bench.polled == 1);
    const int written = bench.writes;
    bench.resist(1000, 1, 100, 200);
    bench.resist(1000, 2, 100, 200);
    bench.send(message::pulse, {4, 200, 100, 0, 0, 0});
    CHECK(bench.letGo && bench.writes == written);
    bench.glove.poll();
    CHECK(bench.stops[1] == kStopFree && bench.stops[2] == kStopFree);
  }
  {
    // Before the first poll nothing is held; a start, however slow, and a hang with nothing held are no trips.
    WatchedBench bench(40);
    bench.resist(1000, 1, 30000, 200);
    bench.tick(1);
    CHECK(bench.letGo && bench.stops[1] == kStopFree);
    bench.tick(100);
    bench.glove.poll();
    CHECK(bench.glove.watchdogTrips() == 0 && !bench.loopWatch.hung() && bench.polled == 1);
    bench.tick(100);
    bench.glove.poll();
    CHECK(bench.glove.watchdogTrips() == 0);
    bench.resist(1000, 1, 30000, 200);
    CHECK(bench.stops[1] == 30000);
  }
}

void testPulse() {
  {
    // 50 Hz for 100 ms: on and off every 10 ms, then off.
    Bench bench;
    bench.writes = 0;
    bench.send(message::pulse, {4, 128, 100, 0, 50, 0});
    CHECK(bench.efforts[4] == 128);
    bench.pass(11);
    CHECK(bench.efforts[4] == 0);
    bench.pass(10);
    CHECK(bench.efforts[4] == 128);
    bench.pass(200);
    CHECK(bench.efforts[4] == 0 && bench.writes == 10 && bench.glove.watchdogTrips() == 0);
  }
  {
    // Without a frequency: on all the time; and it ends with the link.
    Bench bench;
    bench.send(message::pulse, {4, 255, 0xff, 0xff, 0, 0});
    bench.pass(240);
    CHECK(bench.efforts[4] == 255);
    bench.pass(15);
    CHECK(bench.efforts[4] == 0 && bench.glove.watchdogTrips() == 1);
  }
  {
    // At most kMaxPulseMs with a host that is alive.
    Bench bench;
    bench.send(message::pulse, {4, 255, 0xff, 0xff, 0, 0});
    bench.passAlive(900);
    CHECK(bench.efforts[4] == 255);
    bench.passAlive(200);
    CHECK(bench.efforts[4] == 0 && bench.glove.watchdogTrips() == 0);
  }
  {
    // A free stop or brake stays free; a held one changes its effort for a while.
    Bench bench;
    bench.send(message::pulse, {1, 255, 50, 0, 0, 0});
    bench.send(message::pulse, {3, 255, 50, 0, 0, 0});
    CHECK(bench.stops[1] == kStopFree && bench.efforts[3] == 0);
    bench.pass(60);
    bench.resist(250, 1, 100, 80);
    bench.send(message::pulse, {1, 255, 50, 0, 0, 0});
    CHECK(bench.stops[1] == 100 && bench.efforts[1] == 255);
    bench.pass(60);
    CHECK(bench.stops[1] == 100 && bench.efforts[1] == 80);
  }
  {
    // Resist has no say over a vibration motor.
    Bench bench;
    bench.resist(250, 4, 0, 255);
    CHECK(bench.efforts[4] == 0);
  }
}

void testServoMicros() {
  const ActuatorSpec down = {1, actuator_kind::string_stop, 2000, 1000, 800};
  const ActuatorSpec up = {1, actuator_kind::string_stop, 600, 2400, 2500};
  CHECK(servoMicros(down, 0) == 2000 && servoMicros(down, kStopMax) == 1000 && servoMicros(down, kStopFree) == 800);
  CHECK(servoMicros(up, 0) == 600 && servoMicros(up, kStopMax) == 2400 && servoMicros(up, kStopFree) == 2500);
  bool close = true;
  for (unsigned stop = 0; stop <= kStopMax; ++stop) {
    const double exact = 600 + 1800.0 * stop / kStopMax;
    const double error = exact - servoMicros(up, static_cast<uint16_t>(stop));
    close = close && error > -1 && error < 1.1;
  }
  CHECK(close);
}

}  // namespace

int main(int count, char** words) {
  testCrc();
  testCobsExamples();
  testReader();
  testSchedule();
  testHello();
  testSamples();
  testState();
  testPongAndNote();
  testWatchdog();
  testLoopWatch();
  testPulse();
  testServoMicros();
  if (count > 1) testVectors(words[1]);
  std::printf("%d checks, %d failed\n", checks, failures);
  return failures == 0 ? 0 : 1;
}
