// The program that the layer is in.
#ifndef TAUTLINE_OPENXR_PROGRAM_HPP
#define TAUTLINE_OPENXR_PROGRAM_HPP

#include <string>

namespace tautline::layer {

/// File name of this process's program, without its folder; empty where the system does not say.
std::string program_file();
long process_id();

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_PROGRAM_HPP
