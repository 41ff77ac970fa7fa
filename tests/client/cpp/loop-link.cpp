// Uses all of tautline_loop.hpp, so that a build for another system finds what that system lacks.
#include <cstdio>

#include "tautline_loop.hpp"

int main() {
  tautline::Loop glove("link");
  glove.poll();
  const int hold = glove.hold(0, "touch", R"("shape":{"kind":"sphere","radius":0.03})");
  glove.move(hold, R"("shape":{"kind":"sphere","radius":0.04})");
  glove.send(R"({"type":"ping"})");
  std::printf("%d %s %s\n", static_cast<int>(glove.hold_state(hold)), glove.reason().c_str(), glove.refusal().c_str());
  glove.release(hold);
}
