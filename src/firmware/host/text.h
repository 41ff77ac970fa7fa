// Words of the side channel: numbers in, text out.
#ifndef TAUTLINE_TEXT_H
#define TAUTLINE_TEXT_H

#include <string>

// As printf, at most 511 characters.
__attribute__((format(printf, 1, 2))) std::string format(const char* pattern, ...);
// False if the whole text is not one finite number.
bool parse(const std::string& text, double& value);
const char* yesNo(bool value);

#endif  // TAUTLINE_TEXT_H
