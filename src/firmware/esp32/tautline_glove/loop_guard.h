// What lets go when loop() hangs, in three lines, each behind the one before it:
//
//   1. a hardware timer's interrupt has not seen a poll for 200 ms: it wakes a task that goes before every other, and that
//      sends the servos the pulse that frees them
//   2. that task did not get to run either: the interrupt takes the servo pins away from the pulses and holds them low
//   3. the task watchdog restarts the board
//
// Free pulses come first because a servo may keep its last place when its pulses stop. The timer is set up by the task,
// which belongs to the other core than loop() where there are two, and so does its interrupt.
// Not measured on a board: tests/firmware/esp32.test.ts runs it against a stand-in.
#ifndef LOOP_GUARD_H
#define LOOP_GUARD_H

#include <Arduino.h>
#include <esp_rom_gpio.h>
#include <esp_task_wdt.h>
#include <freertos/FreeRTOS.h>
#include <freertos/task.h>
#include <soc/gpio_sig_map.h>

#include <atomic>

#include "pins.h"

static const uint32_t GUARD_TICK_US = 5000;
static const uint8_t GUARD_HUNG_TICKS = static_cast<uint8_t>(kLoopHungMs * 1000UL / GUARD_TICK_US);
// The task is given one tick more than the servos' pulses need to change.
static const uint8_t GUARD_CUT_TICKS = static_cast<uint8_t>(1000000UL / SERVO_RATE_HZ / GUARD_TICK_US + 1);
static const uint32_t GUARD_STACK_BYTES = 3072;
static const BaseType_t GUARD_CORE = 0;

static LoopWatch loopWatch(GUARD_HUNG_TICKS);

namespace loop_guard {

static const uint8_t PINS = sizeof SERVO_PINS / sizeof SERVO_PINS[0];
// In RAM: an interrupt may come while the flash, and with it every constant, is out of reach.
static uint8_t pins[PINS];
static void (*freeServos)() = nullptr;
static TaskHandle_t task = nullptr;
static std::atomic<bool> freed{false};
static std::atomic<bool> cut{false};
static uint8_t ticksWaited = 0;  // of the interrupt alone

static void IRAM_ATTR onTick() {
  if (!loopWatch.tick()) {
    ticksWaited = 0;
    freed = false;
    return;
  }
  if (freed || cut) return;
  if (ticksWaited < GUARD_CUT_TICKS) {
    ++ticksWaited;
    BaseType_t woken = pdFALSE;
    vTaskNotifyGiveFromISR(task, &woken);
    if (woken == pdTRUE) portYIELD_FROM_ISR();
    return;
  }
  // The pins' own level has been low since setup(). In ROM, like all that runs from here.
  for (uint8_t i = 0; i < PINS; ++i) esp_rom_gpio_connect_out_signal(pins[i], SIG_GPIO_OUT_IDX, false, false);
  cut = true;
}

static void startTimer() {
#if ESP_ARDUINO_VERSION_MAJOR >= 3
  hw_timer_t* timer = timerBegin(1000000);
  timerAttachInterrupt(timer, onTick);
  timerAlarm(timer, GUARD_TICK_US, true, 0);
#else
  const uint16_t oneMicrosecond = 80;  // of the bus's 80 MHz
  hw_timer_t* timer = timerBegin(0, oneMicrosecond, true);
  timerAttachInterrupt(timer, onTick, false);
  timerAlarmWrite(timer, GUARD_TICK_US, true);
  timerAlarmEnable(timer);
#endif
}

static void run(void*) {
  startTimer();
  for (;;) {
    ulTaskNotifyTake(pdTRUE, portMAX_DELAY);
    if (!loopWatch.hung()) continue;
    freeServos();
    freed = true;
  }
}

// Older cores count in whole seconds, and none below one.
static void startWatchdog() {
#if ESP_ARDUINO_VERSION_MAJOR >= 3
  esp_task_wdt_config_t config = {};
  config.timeout_ms = 500;
  config.idle_core_mask = 0;  // this task alone
  config.trigger_panic = true;
  // The core has usually started it already, with some seconds.
  if (esp_task_wdt_reconfigure(&config) != ESP_OK) esp_task_wdt_init(&config);
#else
  esp_task_wdt_init(1, true);
#endif
  esp_task_wdt_add(nullptr);
}

// At the end of setup(), from loop()'s own task.
static void begin(void (*freeAll)()) {
  freeServos = freeAll;
  for (uint8_t i = 0; i < PINS; ++i) pins[i] = SERVO_PINS[i].pin;
  startWatchdog();
  const BaseType_t made = xTaskCreatePinnedToCore(run, "loop guard", GUARD_STACK_BYTES, nullptr,
                                                  configMAX_PRIORITIES - 1, &task, GUARD_CORE);
  // Nothing may be held without it.
  if (made != pdPASS) ESP.restart();
}

// Of the core, at the end of every poll().
static void polled(void*) {
  // Its outputs are gone: only a start gives them back.
  if (cut) ESP.restart();
  esp_task_wdt_reset();
}

}  // namespace loop_guard

#endif  // LOOP_GUARD_H
