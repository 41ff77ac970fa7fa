// What the opening of a WebSocket needs (RFC 6455, 4.1): SHA-1 (RFC 3174), base64 (RFC 4648), and reading the answer.
#ifndef TAUTLINE_LINK_HANDSHAKE_HPP
#define TAUTLINE_LINK_HANDSHAKE_HPP

#include <array>
#include <cstdint>
#include <string>
#include <string_view>

namespace tautline::link {

inline std::array<std::uint8_t, 20> sha1(std::string_view text) {
  const auto roll = [](std::uint32_t x, int n) { return x << n | x >> (32 - n); };
  std::string padded(text);
  padded += '\x80';
  while (padded.size() % 64 != 56) padded += '\0';
  const std::uint64_t bits = std::uint64_t(text.size()) * 8;
  for (int shift = 56; shift >= 0; shift -= 8) padded += static_cast<char>(bits >> shift);
  std::uint32_t h[5] = {0x67452301, 0xefcdab89, 0x98badcfe, 0x10325476, 0xc3d2e1f0};
  for (std::size_t block = 0; block < padded.size(); block += 64) {
    std::uint32_t w[80];
    for (int t = 0; t < 80; t++) {
      if (t < 16) {
        w[t] = 0;
        for (int i = 0; i < 4; i++) w[t] = w[t] << 8 | static_cast<std::uint8_t>(padded[block + std::size_t(t * 4 + i)]);
      } else {
        w[t] = roll(w[t - 3] ^ w[t - 8] ^ w[t - 14] ^ w[t - 16], 1);
      }
    }
    std::uint32_t a = h[0], b = h[1], c = h[2], d = h[3], e = h[4];
    for (int t = 0; t < 80; t++) {
      const std::uint32_t f = t < 20 ? (b & c) | (~b & d) : t < 40 || t >= 60 ? b ^ c ^ d : (b & c) | (b & d) | (c & d);
      const std::uint32_t k = t < 20 ? 0x5a827999 : t < 40 ? 0x6ed9eba1 : t < 60 ? 0x8f1bbcdc : 0xca62c1d6;
      const std::uint32_t next = roll(a, 5) + f + e + k + w[t];
      e = d;
      d = c;
      c = roll(b, 30);
      b = a;
      a = next;
    }
    h[0] += a;
    h[1] += b;
    h[2] += c;
    h[3] += d;
    h[4] += e;
  }
  std::array<std::uint8_t, 20> digest{};
  for (int i = 0; i < 20; i++) digest[std::size_t(i)] = static_cast<std::uint8_t>(h[i / 4] >> (24 - i % 4 * 8));
  return digest;
}

inline std::string base64(const std::uint8_t* bytes, std::size_t size) {
  static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string text;
  for (std::size_t i = 0; i < size; i += 3) {
    const std::uint32_t group = std::uint32_t(bytes[i]) << 16 |
                                (i + 1 < size ? std::uint32_t(bytes[i + 1]) << 8 : 0) |
                                (i + 2 < size ? std::uint32_t(bytes[i + 2]) : 0);
    text += digits[group >> 18];
    text += digits[group >> 12 & 63];
    text += i + 1 < size ? digits[group >> 6 & 63] : '=';
    text += i + 2 < size ? digits[group & 63] : '=';
  }
  return text;
}

/// What the service must answer to a key.
inline std::string accept_of(std::string_view key) {
  const auto digest = sha1(std::string(key) + "258EAFA5-E914-47DA-95CA-C5AB0DC85B11");
  return base64(digest.data(), digest.size());
}

/// A header's value in the head of an answer; empty when it is not there.
inline std::string_view header(std::string_view head, std::string_view name) {
  const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; };
  for (std::size_t at = head.find("\r\n"); at != std::string_view::npos; at = head.find("\r\n", at)) {
    at += 2;
    std::size_t i = 0;
    while (i < name.size() && at + i < head.size() && lower(head[at + i]) == lower(name[i])) i++;
    if (i < name.size() || at + i >= head.size() || head[at + i] != ':') continue;
    std::string_view value = head.substr(at + i + 1, head.find("\r\n", at) - at - i - 1);
    while (!value.empty() && (value.front() == ' ' || value.front() == '\t')) value.remove_prefix(1);
    while (!value.empty() && (value.back() == ' ' || value.back() == '\t')) value.remove_suffix(1);
    return value;
  }
  return {};
}

}  // namespace tautline::link

#endif  // TAUTLINE_LINK_HANDSHAKE_HPP
