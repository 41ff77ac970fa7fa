#include "program.hpp"

#ifdef _WIN32
#include <winsock2.h>
#include <windows.h>
#else
#include <unistd.h>
#endif

namespace tautline::layer {

#ifdef _WIN32

std::string program_file() {
  wchar_t path[1024];
  const DWORD length = ::GetModuleFileNameW(nullptr, path, 1024);
  const wchar_t* name = path;
  for (DWORD i = 0; i < length && i < 1024; i++) {
    if (path[i] == L'\\' || path[i] == L'/') name = path + i + 1;
  }
  const int left = static_cast<int>(path + (length < 1024 ? length : 1023) - name);
  char text[1024];
  const int size = left <= 0 ? 0 : ::WideCharToMultiByte(CP_UTF8, 0, name, left, text, sizeof text, nullptr, nullptr);
  return std::string(text, size > 0 ? static_cast<std::size_t>(size) : 0);
}

long process_id() { return static_cast<long>(::GetCurrentProcessId()); }

#else

std::string program_file() {
  char path[4096];
  const ssize_t length = ::readlink("/proc/self/exe", path, sizeof path);
  if (length <= 0) return {};
  std::string name(path, static_cast<std::size_t>(length));
  // Of a program that was replaced while it runs, as an update does.
  constexpr char kGone[] = " (deleted)";
  if (name.size() > sizeof kGone && name.compare(name.size() - sizeof kGone + 1, sizeof kGone - 1, kGone) == 0) {
    name.resize(name.size() - sizeof kGone + 1);
  }
  return name.substr(name.rfind('/') + 1);
}

long process_id() { return static_cast<long>(::getpid()); }

#endif

}  // namespace tautline::layer
