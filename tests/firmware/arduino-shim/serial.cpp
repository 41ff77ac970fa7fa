// The stand-in board's host at the end of the cable.
#include "board.h"

void connectHost() {}

void receiveFromHost(const std::vector<uint8_t>& bytes) {
  board.received.insert(board.received.end(), bytes.begin(), bytes.end());
}
