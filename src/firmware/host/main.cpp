// tautline-host-glove: the firmware on this computer, behind a pseudo-terminal instead of a serial port.

#include <signal.h>
#include <sys/select.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <sstream>
#include <stdexcept>
#include <string>

#include "control.h"
#include "host_glove.h"

namespace {

const char kUsage[] =
    "usage: tautline-host-glove [options]\n"
    "  --hand left|right   default right\n"
    "  --id HEX            device id, 16 hex digits; default: made from hand and seed\n"
    "  --channels LIST     channel roles, with commas between; default: five curls, five splays, stick.x, stick.y\n"
    "  --actuators LIST    actuator roles, or role:kind (stringStop, brake, vibration); default: five stringStops;\n"
    "                      none: no actuators\n"
    "  --rate HZ           sample rate at boot, default 250\n"
    "  --max-rate HZ       highest rate the host may ask for, default 1000\n"
    "  --bits N            converter bits, default 12\n"
    "  --firmware N        version that it says, major * 256 + minor; default: the newest\n"
    "  --noise COUNTS      standard deviation of a reading, default 1.5\n"
    "  --seed N            seed of everything random, default 1\n"
    "  --clock US          start of the device clock, default 0 (it wraps at 2^32)\n"
    "  --physics           fingers, strings and servos with mass, give, friction and limits of force\n"
    "  --drive hobby|torque  with --physics: servos hold or are free (default), or heed the effort\n"
    "  --manual-time       time stands still but for the command `advance MS`\n"
    "  --link PATH         also make a symbolic link to the terminal at PATH\n"
    "  --control PATH      also take commands at a Unix socket\n"
    "  --keep              go on when standard input ends\n";

volatile sig_atomic_t stopSignal = 0;

struct Arguments {
  Options glove;
  std::string link;
  std::string control;
  bool keep = false;
};

std::vector<std::string> split(const std::string& list) {
  std::vector<std::string> items;
  std::istringstream stream(list);
  for (std::string item; std::getline(stream, item, ',');) {
    if (!item.empty()) items.push_back(item);
  }
  return items;
}

double number(const std::string& flag, const std::string& text, double most) {
  char* end = nullptr;
  const double value = std::strtod(text.c_str(), &end);
  if (end == text.c_str() || *end != '\0' || !(value >= 0 && value <= most)) {
    throw std::runtime_error(flag + " takes a number up to " + std::to_string(static_cast<long long>(most)));
  }
  return value;
}

Arguments parseArguments(int count, char** words) {
  Arguments arguments;
  Options& glove = arguments.glove;
  glove.channels = split(
      "thumb.curl,index.curl,middle.curl,ring.curl,little.curl,"
      "thumb.splay,index.splay,middle.splay,ring.splay,little.splay,stick.x,stick.y");
  glove.actuators = split("thumb,index,middle,ring,little");
  for (int i = 1; i < count; ++i) {
    const std::string flag = words[i];
    if (flag == "--keep") {
      arguments.keep = true;
      continue;
    }
    if (flag == "--physics" || flag == "--manual-time") {
      (flag == "--physics" ? glove.physics : glove.manualTime) = true;
      continue;
    }
    if (flag == "--help") {
      std::fputs(kUsage, stdout);
      std::exit(0);
    }
    if (i + 1 >= count) throw std::runtime_error("what is " + flag + "? (--help lists the options)");
    const std::string value = words[++i];
    if (flag == "--hand") {
      if (value != "left" && value != "right") throw std::runtime_error("--hand takes left or right");
      glove.hand = value == "left" ? tautline::hand::left : tautline::hand::right;
    } else if (flag == "--id") {
      glove.deviceId = value;
    } else if (flag == "--channels") {
      glove.channels = split(value);
    } else if (flag == "--actuators") {
      glove.actuators = value == "none" ? std::vector<std::string>() : split(value);
    } else if (flag == "--rate") {
      glove.rateHz = static_cast<unsigned>(number(flag, value, 10000));
    } else if (flag == "--max-rate") {
      glove.maxRateHz = static_cast<unsigned>(number(flag, value, 10000));
    } else if (flag == "--bits") {
      glove.bits = static_cast<unsigned>(number(flag, value, 16));
    } else if (flag == "--firmware") {
      glove.firmwareVersion = static_cast<unsigned>(number(flag, value, 65535));
    } else if (flag == "--noise") {
      glove.noiseCounts = number(flag, value, 65535);
    } else if (flag == "--seed") {
      glove.seed = static_cast<uint32_t>(number(flag, value, 4294967295.0));
    } else if (flag == "--clock") {
      glove.clockUs = static_cast<uint32_t>(number(flag, value, 4294967295.0));
    } else if (flag == "--drive") {
      if (value != "hobby" && value != "torque") throw std::runtime_error("--drive takes hobby or torque");
      glove.drive = value == "torque" ? Drive::torque : Drive::hobby;
    } else if (flag == "--link") {
      arguments.link = value;
    } else if (flag == "--control") {
      arguments.control = value;
    } else {
      throw std::runtime_error("what is " + flag + "? (--help lists the options)");
    }
  }
  glove.maxRateHz = std::max(glove.maxRateHz, glove.rateHz);
  return arguments;
}

// A name for the terminal that stays the same from one start to the next. Replaced in one step, so that it
// is never missing.
class StableName {
 public:
  StableName(const std::string& path, const std::string& target) : path_(path), target_(target) {
    if (path.empty()) return;
    const std::string fresh = path + "." + std::to_string(getpid());
    if (symlink(target.c_str(), fresh.c_str()) != 0 || rename(fresh.c_str(), path.c_str()) != 0) {
      const std::string why = std::strerror(errno);
      unlink(fresh.c_str());
      throw std::runtime_error("cannot make the link " + path + ": " + why);
    }
  }
  ~StableName() {
    if (path_.empty()) return;
    char target[256];
    const ssize_t length = readlink(path_.c_str(), target, sizeof target);
    // Unless another glove has taken the name since.
    if (length > 0 && target_ == std::string(target, static_cast<size_t>(length))) unlink(path_.c_str());
  }
  StableName(const StableName&) = delete;
  StableName& operator=(const StableName&) = delete;

 private:
  std::string path_;
  std::string target_;
};

void onSignal(int) { stopSignal = 1; }

void run(const Arguments& arguments) {
  HostGlove glove(arguments.glove);
  const StableName name(arguments.link, glove.link.path());
  Control control([&glove](const std::string& line) { return glove.command(line); });
  if (!arguments.control.empty()) control.listen(arguments.control);

  std::printf("{\"pty\":\"%s\",\"clockUs\":%lld}\n", glove.link.path().c_str(),
              static_cast<long long>(glove.clockUs()));
  std::fflush(stdout);

  while (!stopSignal && !glove.quitting() && (arguments.keep || !control.stdinClosed())) {
    fd_set set;
    FD_ZERO(&set);
    int highest = control.watch(set);
    // A terminal that nobody has open is always "ready"; then the timeout alone paces the loop. So it is when the side
    // channel carries the bytes.
    if (glove.link.connected() && !glove.link.captive() && !glove.frozen()) {
      FD_SET(glove.link.fd(), &set);
      highest = std::max(highest, glove.link.fd());
    }
    // At most 2 ms: the watchdog and pulses are looked after between samples too, unless time stands still.
    const double most = arguments.glove.manualTime ? 0.02 : 0.002;
    const double wait = std::min(most, std::max(0.0, glove.idleSeconds()));
    timeval timeout = {0, static_cast<suseconds_t>(wait * 1e6)};
    if (select(highest + 1, &set, nullptr, nullptr, &timeout) < 0) FD_ZERO(&set);

    glove.run();
    control.serve(set);
    for (const std::string& line : glove.takeEvents()) control.announce(line);
  }
}

}  // namespace

int main(int count, char** words) {
  struct sigaction action = {};
  action.sa_handler = onSignal;
  sigaction(SIGINT, &action, nullptr);
  sigaction(SIGTERM, &action, nullptr);
  signal(SIGPIPE, SIG_IGN);
  try {
    run(parseArguments(count, words));
  } catch (const std::exception& error) {
    std::fprintf(stderr, "tautline-host-glove: %s\n", error.what());
    return 2;
  }
  return 0;
}
