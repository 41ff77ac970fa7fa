// Reads JSON text (RFC 8259) member by member, without a tree: nothing allocates beyond the caller's strings, nothing
// throws. After the first mistake of the text every call answers false, so that one check at the end is enough.
//
//   json::Reader in(text);
//   json::Key key;
//   if (in.begin_object()) while (in.next_member(key)) {
//     if (key == "hand") in.string(hand); else in.skip();
//   }
//   if (!in.ok()) ...
#ifndef TAUTLINE_LINK_JSON_HPP
#define TAUTLINE_LINK_JSON_HPP

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <string>
#include <string_view>

namespace tautline::link::json {

/// Text of bounded length: what is longer is cut, and then equals nothing short.
class Text {
 public:
  static constexpr std::size_t kLongest = 255;
  void clear() { size_ = 0; }
  void add(char c) {
    if (size_ < kLongest) bytes_[size_++] = c;
  }
  std::string_view view() const { return {bytes_, size_}; }
  bool operator==(std::string_view other) const { return view() == other; }

 private:
  char bytes_[kLongest];
  std::size_t size_ = 0;
};
using Key = Text;

class Reader {
 public:
  explicit Reader(std::string_view text) : at_(text.data()), end_(text.data() + text.size()) {}

  bool ok() const { return ok_; }

  bool begin_object() { return begin('{'); }
  bool begin_array() { return begin('['); }

  /// The next member's name; then its value is to be read, or skipped. False at the end of the object.
  bool next_member(Key& key) {
    if (!next('}')) return false;
    if (!string(key)) return false;
    space();
    return take(':') || fail();
  }
  /// Whether there is another element, which is then to be read, or skipped.
  bool next_element() { return next(']'); }

  bool string(Text& text) {
    text.clear();
    return letters([&text](char c) { text.add(c); });
  }
  /// Of any length.
  bool string(std::string& text) {
    text.clear();
    return letters([&text](char c) { text += c; });
  }

  bool number(double& value) {
    space();
    const char* from = at_;
    bool negative = take('-');
    if (at_ == end_ || !digit(*at_)) return fail();
    double whole = 0;
    for (; at_ < end_ && digit(*at_); at_++) whole = whole * 10 + (*at_ - '0');
    int scale = 0;
    if (take('.')) {
      if (at_ == end_ || !digit(*at_)) return fail();
      for (; at_ < end_ && digit(*at_); at_++, scale--) {
        // Digits beyond a double's change nothing.
        if (scale > -30) whole = whole * 10 + (*at_ - '0');
        else scale++;
      }
    }
    if (at_ < end_ && (*at_ == 'e' || *at_ == 'E')) {
      at_++;
      const bool down = take('-');
      if (!down) take('+');
      if (at_ == end_ || !digit(*at_)) return fail();
      int exponent = 0;
      for (; at_ < end_ && digit(*at_); at_++) exponent = exponent > 9999 ? exponent : exponent * 10 + (*at_ - '0');
      scale += down ? -exponent : exponent;
    }
    value = whole * std::pow(10.0, scale);
    if (negative) value = -value;
    return (at_ > from && std::isfinite(value)) || fail();
  }

  /// A number, or true as 1 and false as 0.
  bool number_or_boolean(double& value) {
    space();
    if (at_ < end_ && (*at_ == 't' || *at_ == 'f')) {
      value = *at_ == 't' ? 1 : 0;
      return word(*at_ == 't' ? "true" : "false");
    }
    return number(value);
  }

  /// Up to `count` numbers of an array. @return whether it had exactly so many, and all were numbers
  bool numbers(double* to, int count) {
    if (!begin_array()) return false;
    int n = 0;
    double value;
    while (next_element()) {
      if (!number(value)) return false;
      if (n < count) to[n] = value;
      n++;
    }
    return ok_ && n == count;
  }

  /// What comes next, without taking it: one of { [ " t f n - digit, or 0 at the end.
  char peek() {
    space();
    return at_ < end_ ? *at_ : '\0';
  }

  /// Passes over one value of any kind.
  bool skip() {
    Text text;
    double value;
    // No recursion: the nesting of hostile text is not our stack's.
    const int from = depth_;
    do {
      switch (peek()) {
        case '{': begin_object(); break;
        case '[': begin_array(); break;
        case '"': string(text); break;
        case 't': word("true"); break;
        case 'f': word("false"); break;
        case 'n': word("null"); break;
        default: number(value);
      }
      while (ok_ && depth_ > from) {
        if (nested_ >> (depth_ - 1) & 1 ? next_element() : next_member(text)) break;
      }
    } while (ok_ && depth_ > from);
    return ok_;
  }

 private:
  static constexpr int kDeepest = 60;
  const char* at_;
  const char* end_;
  bool ok_ = true;
  bool first_ = false;
  int depth_ = 0;
  std::uint64_t nested_ = 0;  // a bit a level: 1 array, 0 object

  static bool digit(char c) { return c >= '0' && c <= '9'; }
  bool fail() { return ok_ = false; }
  bool take(char c) {
    if (at_ == end_ || *at_ != c) return false;
    at_++;
    return true;
  }
  void space() {
    while (at_ < end_ && (*at_ == ' ' || *at_ == '\n' || *at_ == '\r' || *at_ == '\t')) at_++;
  }
  bool word(std::string_view text) {
    if (static_cast<std::size_t>(end_ - at_) < text.size() || std::string_view(at_, text.size()) != text) return fail();
    at_ += text.size();
    return true;
  }
  bool begin(char bracket) {
    space();
    if (!ok_ || !take(bracket) || depth_ == kDeepest) return fail();
    const std::uint64_t bit = std::uint64_t(1) << depth_;
    nested_ = bracket == '[' ? nested_ | bit : nested_ & ~bit;
    depth_++;
    first_ = true;
    return true;
  }
  bool next(char end) {
    if (!ok_) return false;
    space();
    if (take(end)) {
      depth_--;
      first_ = false;
      return false;
    }
    if (!first_ && !take(',')) return fail();
    first_ = false;
    return at_ < end_ || fail();
  }
  bool hex(unsigned& value) {
    value = 0;
    for (int i = 0; i < 4; i++, at_++) {
      if (at_ == end_) return fail();
      const char c = *at_;
      if (digit(c)) value = value << 4 | unsigned(c - '0');
      else if (c >= 'a' && c <= 'f') value = value << 4 | unsigned(c - 'a' + 10);
      else if (c >= 'A' && c <= 'F') value = value << 4 | unsigned(c - 'A' + 10);
      else return fail();
    }
    return true;
  }
  template <class Add>
  bool letters(Add add) {
    space();
    if (!take('"')) return fail();
    while (ok_ && at_ < end_) {
      const char c = *at_++;
      if (c == '"') return true;
      if (static_cast<unsigned char>(c) < 0x20) return fail();
      if (c == '\\') escape(add);
      else add(c);
    }
    return fail();
  }
  template <class Add>
  void escape(Add add) {
    if (at_ == end_) {
      fail();
      return;
    }
    const char c = *at_++;
    switch (c) {
      case '"': case '\\': case '/': add(c); break;
      case 'b': add('\b'); break;
      case 'f': add('\f'); break;
      case 'n': add('\n'); break;
      case 'r': add('\r'); break;
      case 't': add('\t'); break;
      case 'u': unicode(add); break;
      default: fail();
    }
  }
  template <class Add>
  void unicode(Add add) {
    unsigned code, low;
    if (!hex(code)) return;
    const bool high = code >= 0xd800 && code < 0xdc00;
    if (high && end_ - at_ >= 6 && at_[0] == '\\' && at_[1] == 'u') {
      const char* const from = at_;
      at_ += 2;
      if (!hex(low)) return;
      if (low >= 0xdc00 && low < 0xe000) code = 0x10000 + ((code - 0xd800) << 10) + (low - 0xdc00);
      else at_ = from;
    }
    // Half a pair is no letter.
    if (code >= 0xd800 && code < 0xe000) return add('?');
    const auto tail = [&add, code](int shift) { add(static_cast<char>(0x80 | (code >> shift & 0x3f))); };
    if (code < 0x80) return add(static_cast<char>(code));
    if (code < 0x800) add(static_cast<char>(0xc0 | code >> 6));
    else if (code < 0x10000) add(static_cast<char>(0xe0 | code >> 12)), tail(6);
    else add(static_cast<char>(0xf0 | code >> 18)), tail(12), tail(6);
    tail(0);
  }
};

/// The text as a JSON string, with its quotation marks; bytes that are not UTF-8 become '?'.
inline std::string quote(std::string_view text) {
  std::string quoted = "\"";
  for (std::size_t i = 0; i < text.size(); i++) {
    const unsigned char c = static_cast<unsigned char>(text[i]);
    if (c == '"' || c == '\\') {
      quoted += '\\';
      quoted += static_cast<char>(c);
    } else if (c < 0x20) {
      char escaped[8];
      std::snprintf(escaped, sizeof escaped, "\\u%04x", c);
      quoted += escaped;
    } else if (c < 0x80) {
      quoted += static_cast<char>(c);
    } else {
      const std::size_t more = c >= 0xf0 && c < 0xf5 ? 3 : c >= 0xe0 ? 2 : 1;
      bool good = c >= 0xc2 && c < 0xf5 && i + more < text.size();
      for (std::size_t k = 1; good && k <= more; k++) good = (static_cast<unsigned char>(text[i + k]) & 0xc0) == 0x80;
      // Surrogates, overlong forms and what lies beyond Unicode.
      if (good && more > 1) {
        const unsigned char d = static_cast<unsigned char>(text[i + 1]);
        good = !(c == 0xe0 && d < 0xa0) && !(c == 0xed && d > 0x9f) && !(c == 0xf0 && d < 0x90) &&
               !(c == 0xf4 && d > 0x8f);
      }
      if (good) {
        quoted.append(text.substr(i, more + 1));
        i += more;
      } else {
        quoted += '?';
      }
    }
  }
  return quoted += '"';
}

}  // namespace tautline::link::json

#endif  // TAUTLINE_LINK_JSON_HPP
