#include "board.h"

#include <Arduino.h>
#include <esp_rom_gpio.h>
#include <esp_task_wdt.h>
#include <freertos/FreeRTOS.h>
#include <freertos/task.h>
#include <soc/gpio_sig_map.h>

#include <cstdarg>
#include <cstdio>
#include <cstdlib>

Board board;
HardwareSerial Serial;
EspClass ESP;

namespace {
constexpr uint64_t kNever = UINT64_MAX;
constexpr uint64_t kReadUs = 2;
thread_local tskTaskControlBlock* current = nullptr;
}  // namespace

void Board::event(const char* format, ...) {
  std::printf("%llu ", static_cast<unsigned long long>(nowUs));
  va_list arguments;
  va_start(arguments, format);
  std::vprintf(format, arguments);
  va_end(arguments);
  std::printf("\n");
}

// ---- time ----

void Board::pass(uint64_t us) {
  const uint64_t end = nowUs + us;
  for (;;) {
    uint64_t next = kNever;
    hw_timer_s* due = nullptr;
    for (hw_timer_s* timer : timers) {
      if (timer->nextUs < next) next = (due = timer)->nextUs;
    }
    PulsePin* pin = nullptr;
    uint8_t number = 0;
    for (auto& entry : pulses) {
      PulsePin& one = entry.second;
      const uint64_t at = !one.attached ? kNever : one.high ? one.startUs + one.widthUs : one.startUs + one.periodUs;
      if (at < next) {
        next = at;
        pin = &one;
        number = entry.first;
      }
    }
    if (next > end) break;
    nowUs = next;
    if (pin) {
      edge(number, *pin);
    } else {
      due->nextUs += due->everyUs;
      due->interrupt();
    }
  }
  nowUs = end;
}

void Board::edge(uint8_t number, PulsePin& pin) {
  if (pin.high) {
    pin.high = false;
    event("pulse %u %u", number, pin.widthUs);
    return;
  }
  pin.startUs += pin.periodUs;
  pin.widthUs = static_cast<uint32_t>((pin.duty * pin.periodUs) >> 16);
  pin.high = pin.widthUs > 0;
}

unsigned long micros() { return static_cast<unsigned long>(board.nowUs & 0xffffffffU); }
unsigned long millis() { return static_cast<unsigned long>(board.nowUs / 1000); }
void delayMicroseconds(uint32_t us) { board.pass(us); }

// ---- pins and pulses ----

void pinMode(uint8_t pin, uint8_t mode) {
  if (mode == OUTPUT) board.event("output %u", pin);
}
int digitalRead(uint8_t) { return HIGH; }
void digitalWrite(uint8_t pin, uint8_t value) {
  board.levels[pin] = value == HIGH;
  board.event("level %u %u", pin, value);
}
uint16_t analogRead(uint8_t) { return 2000; }
uint32_t analogReadMilliVolts(uint8_t) { return 2000; }
void analogReadResolution(uint8_t) {}

void Board::attach(uint8_t number, double frequencyHz, uint8_t bits) {
  PulsePin& pin = pulses[number];
  pin.attached = bits == 16;
  pin.periodUs = static_cast<uint64_t>(1e6 / frequencyHz);
  pin.startUs = nowUs;
  event("attach %u", number);
}

void Board::setDuty(uint8_t pin, uint32_t duty) { pulses[pin].duty = duty; }

void Board::cut(uint8_t number) {
  PulsePin& pin = pulses[number];
  if (pin.high) event("pulse %u %u", number, static_cast<unsigned>(nowUs - pin.startUs));
  pin.high = pin.attached = false;
  event("cut %u %u", number, levels[number] ? 1U : 0U);
}

extern "C" void esp_rom_gpio_connect_out_signal(uint32_t pin, uint32_t signal, bool inverted, bool enableInverted) {
  if (signal == SIG_GPIO_OUT_IDX && !inverted && !enableInverted) board.cut(static_cast<uint8_t>(pin));
}

#if SHIM_GENERATION >= 3
bool ledcAttach(uint8_t pin, uint32_t frequency, uint8_t resolution) {
  board.attach(pin, frequency, resolution);
  return true;
}
bool ledcWrite(uint8_t pin, uint32_t duty) {
  board.setDuty(pin, duty);
  return true;
}
#else
namespace {
std::map<uint8_t, std::pair<double, uint8_t>> channels;
}
double ledcSetup(uint8_t channel, double frequency, uint8_t resolution) {
  channels[channel] = {frequency, resolution};
  return frequency;
}
void ledcAttachPin(uint8_t pin, uint8_t channel) {
  board.pinOfChannel[channel] = pin;
  board.attach(pin, channels[channel].first, channels[channel].second);
}
void ledcWrite(uint8_t channel, uint32_t duty) { board.setDuty(board.pinOfChannel.at(channel), duty); }
#endif

// ---- hardware timer ----

namespace {
void setAlarm(hw_timer_t* timer, uint64_t everyUs, bool again) {
  if (!again || !timer->interrupt) std::abort();
  timer->everyUs = everyUs;
}
void startAlarm(hw_timer_t* timer) {
  timer->nextUs = board.nowUs + timer->everyUs;
  board.timers.push_back(timer);
  board.event("timer %llu", static_cast<unsigned long long>(timer->everyUs));
}
}  // namespace

#if SHIM_GENERATION >= 3
hw_timer_t* timerBegin(uint32_t frequency) { return frequency == 1000000 ? new hw_timer_t : nullptr; }
void timerAttachInterrupt(hw_timer_t* timer, void (*interrupt)(void)) { timer->interrupt = interrupt; }
void timerAlarm(hw_timer_t* timer, uint64_t everyUs, bool again, uint64_t) {
  setAlarm(timer, everyUs, again);
  startAlarm(timer);
}
#else
hw_timer_t* timerBegin(uint8_t, uint16_t divider, bool up) { return divider == 80 && up ? new hw_timer_t : nullptr; }
void timerAttachInterrupt(hw_timer_t* timer, void (*interrupt)(void), bool) { timer->interrupt = interrupt; }
void timerAlarmWrite(hw_timer_t* timer, uint64_t everyUs, bool again) { setAlarm(timer, everyUs, again); }
void timerAlarmEnable(hw_timer_t* timer) { startAlarm(timer); }
#endif

// ---- tasks: a thread that has the word until it waits again ----

void Board::runTask(tskTaskControlBlock* task) {
  std::unique_lock<std::mutex> lock(mutex);
  task->waiting = false;
  changed.notify_all();
  changed.wait(lock, [task] { return task->waiting; });
}

BaseType_t xTaskCreatePinnedToCore(TaskFunction_t code, const char* const name, const uint32_t, void* const parameters,
                                   UBaseType_t priority, TaskHandle_t* const created, const BaseType_t core) {
  auto* task = new tskTaskControlBlock;
  *created = task;
  board.event("task %u %d %s", priority, core, name);
  task->waiting = true;
  task->thread = std::thread([=] {
    current = task;
    {
      std::unique_lock<std::mutex> lock(board.mutex);
      board.changed.wait(lock, [task] { return !task->waiting; });
    }
    code(parameters);
  });
  board.runTask(task);
  return pdPASS;
}

void vTaskNotifyGiveFromISR(TaskHandle_t task, BaseType_t* const woken) {
  ++task->notifications;
  board.woken = task;
  *woken = pdTRUE;
}

void vPortYieldFromIsr() {
  if (board.scheduling && board.woken) board.runTask(board.woken);
}

uint32_t ulTaskNotifyTake(BaseType_t, TickType_t) {
  tskTaskControlBlock* task = current;
  std::unique_lock<std::mutex> lock(board.mutex);
  if (task->notifications == 0) {
    task->waiting = true;
    board.changed.notify_all();
    board.changed.wait(lock, [task] { return !task->waiting; });
  }
  const unsigned count = task->notifications;
  task->notifications = 0;
  return count;
}

// ---- watchdog ----

#if SHIM_GENERATION >= 3
namespace {
esp_err_t configure(const char* how, const esp_task_wdt_config_t& config) {
  board.event("%s %u %u %d", how, config.timeout_ms, config.idle_core_mask, config.trigger_panic);
  return ESP_OK;
}
}  // namespace
esp_err_t esp_task_wdt_init(const esp_task_wdt_config_t* config) {
  return board.watchdogStarted ? ESP_ERR_INVALID_STATE : configure("wdt-init", *config);
}
esp_err_t esp_task_wdt_reconfigure(const esp_task_wdt_config_t* config) {
  return board.watchdogStarted ? configure("wdt-reconfigure", *config) : ESP_ERR_INVALID_STATE;
}
#else
esp_err_t esp_task_wdt_init(uint32_t seconds, bool panic) {
  board.event("wdt-init %u %d", seconds, panic);
  return ESP_OK;
}
#endif
esp_err_t esp_task_wdt_add(TaskHandle_t task) {
  board.event(task == nullptr ? "wdt-watches this" : "wdt-watches another");
  return ESP_OK;
}
esp_err_t esp_task_wdt_reset(void) {
  ++board.watchdogResets;
  return ESP_OK;
}

uint64_t EspClass::getEfuseMac() { return 0x0102030405060708ULL; }
void EspClass::restart() {
  board.event("restart");
  std::fflush(stdout);
  std::_Exit(0);
}

// ---- serial port ----

void Board::written(const uint8_t* data, size_t length) {
  const uint64_t us = blockUs;
  blockUs = 0;
  if (us > 0) event("blocked");
  pass(us);
  std::string hex;
  char two[3];
  for (size_t i = 0; i < length; ++i) {
    std::snprintf(two, sizeof two, "%02x", data[i]);
    hex += two;
  }
  event("sent %s", hex.c_str());
}

void HardwareSerial::begin(unsigned long) { board.pass(board.setupUs); }
size_t HardwareSerial::setTxBufferSize(size_t size) { return size; }
int HardwareSerial::available() {
  return board.nowUs < board.floodUntilUs ? 1 : static_cast<int>(board.received.size());
}
int HardwareSerial::read() {
  board.pass(kReadUs);
  if (board.received.empty()) return 0x41;
  const uint8_t byte = board.received.front();
  board.received.erase(board.received.begin());
  return byte;
}
int HardwareSerial::availableForWrite() { return 1024; }
size_t HardwareSerial::write(const uint8_t* data, size_t length) {
  board.written(data, length);
  return length;
}
