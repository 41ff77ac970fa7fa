#include "text.h"

#include <cmath>
#include <cstdarg>
#include <cstdio>
#include <cstdlib>

std::string format(const char* pattern, ...) {
  char text[512];
  va_list arguments;
  va_start(arguments, pattern);
  std::vsnprintf(text, sizeof text, pattern, arguments);
  va_end(arguments);
  return text;
}

bool parse(const std::string& text, double& value) {
  char* end = nullptr;
  value = std::strtod(text.c_str(), &end);
  return end != text.c_str() && *end == '\0' && std::isfinite(value);
}

const char* yesNo(bool value) { return value ? "true" : "false"; }
