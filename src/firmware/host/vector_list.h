// One of each message, and the edges: what tests/link/vectors.json is made from, and checked against.
#ifndef TAUTLINE_VECTOR_LIST_H
#define TAUTLINE_VECTOR_LIST_H

#include <cstdint>
#include <string>
#include <vector>

using Bytes = std::vector<uint8_t>;

struct Vector {
  std::string name;
  uint8_t type;
  uint8_t seq;
  Bytes body;
  std::string fields;  // JSON of what the body says, numbers as on the wire
};

// Fields in order, in the wire's byte order and as JSON side by side.
class VectorBody {
 public:
  VectorBody& u8(const char* name, unsigned value) { return number(name, value, value, 1); }
  VectorBody& u16(const char* name, unsigned value) { return number(name, value, value, 2); }
  VectorBody& i16(const char* name, int value) { return number(name, static_cast<uint16_t>(value), value, 2); }
  VectorBody& u32(const char* name, uint32_t value) { return number(name, value, value, 4); }
  VectorBody& u16s(const char* name, const std::vector<unsigned>& values) {
    key(name);
    json_ += "[";
    for (size_t i = 0; i < values.size(); ++i) {
      put(values[i], 2);
      json_ += (i ? "," : "") + std::to_string(values[i]);
    }
    json_ += "]";
    return *this;
  }
  VectorBody& raw(const char* name, const Bytes& bytes, const std::string& json) {
    key(name);
    body_.insert(body_.end(), bytes.begin(), bytes.end());
    json_ += json;
    return *this;
  }
  // A list of records whose fields have one or two bytes.
  VectorBody& records(const char* name, const std::vector<std::string>& keys, const std::vector<unsigned>& sizes,
                      const std::vector<std::vector<unsigned>>& rows) {
    key(name);
    json_ += "[";
    for (size_t r = 0; r < rows.size(); ++r) {
      json_ += r ? ",{" : "{";
      for (size_t k = 0; k < keys.size(); ++k) {
        put(rows[r][k], sizes[k]);
        json_ += (k ? ",\"" : "\"") + keys[k] + "\":" + std::to_string(rows[r][k]);
      }
      json_ += "}";
    }
    json_ += "]";
    return *this;
  }
  Vector as(const std::string& name, uint8_t type, uint8_t seq) const {
    return {name, type, seq, body_, "{" + json_ + "}"};
  }

 private:
  VectorBody& number(const char* name, uint32_t wire, int64_t shown, unsigned size) {
    key(name);
    put(wire, size);
    json_ += std::to_string(shown);
    return *this;
  }
  void key(const char* name) { json_ += (json_.empty() ? "\"" : ",\"") + std::string(name) + "\":"; }
  void put(uint32_t value, unsigned size) {
    for (unsigned i = 0; i < size; ++i) body_.push_back(static_cast<uint8_t>(value >> (8 * i)));
  }

  Bytes body_;
  std::string json_;
};

std::vector<Vector> linkVectors();
std::string hexOf(const Bytes& bytes);

#endif  // TAUTLINE_VECTOR_LIST_H
