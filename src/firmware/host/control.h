// The side channel: lines of text in, one line out for each, on standard input and output and, if asked for,
// on a Unix socket.
#ifndef TAUTLINE_CONTROL_H
#define TAUTLINE_CONTROL_H

#include <sys/select.h>

#include <functional>
#include <string>
#include <vector>

class Control {
 public:
  using Handler = std::function<std::string(const std::string& line)>;

  explicit Control(Handler handler);
  ~Control();
  Control(const Control&) = delete;
  Control& operator=(const Control&) = delete;

  // Throws std::runtime_error if the path cannot be bound.
  void listen(const std::string& path);
  // Adds what it waits for to the set; returns the highest descriptor.
  int watch(fd_set& set) const;
  // Reads and answers whatever is ready.
  void serve(const fd_set& ready);
  // A line to everybody.
  void announce(const std::string& line);

  bool stdinClosed() const { return clients_[0].closed; }

 private:
  struct Client {
    int in;
    int out;
    bool closed;
    std::string buffer;
  };

  void read(Client& client);
  static void send(const Client& client, const std::string& line);

  Handler handler_;
  std::vector<Client> clients_;
  int listener_ = -1;
  std::string path_;
};

#endif  // TAUTLINE_CONTROL_H
