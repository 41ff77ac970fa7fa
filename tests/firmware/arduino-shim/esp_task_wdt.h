// The task watchdog of both generations: whole seconds before version 5.0 of the maker's framework (which the ESP32 core
// has from its version 3 on), a struct with milliseconds since.
#ifndef ESP_TASK_WDT_SHIM_H
#define ESP_TASK_WDT_SHIM_H

#include <Arduino.h>
#include <esp_err.h>
#include <freertos/FreeRTOS.h>
#include <freertos/task.h>

#if SHIM_GENERATION >= 3
typedef struct {
  uint32_t timeout_ms;
  uint32_t idle_core_mask;
  bool trigger_panic;
} esp_task_wdt_config_t;
esp_err_t esp_task_wdt_init(const esp_task_wdt_config_t* config);
esp_err_t esp_task_wdt_reconfigure(const esp_task_wdt_config_t* config);
#else
esp_err_t esp_task_wdt_init(uint32_t timeout, bool panic);
#endif
esp_err_t esp_task_wdt_add(TaskHandle_t task_handle);
esp_err_t esp_task_wdt_reset(void);

#endif  // ESP_TASK_WDT_SHIM_H
