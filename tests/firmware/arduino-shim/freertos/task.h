// Just enough of FreeRTOS; its public reference, from memory.
#ifndef FREERTOS_TASK_SHIM_H
#define FREERTOS_TASK_SHIM_H

#include "FreeRTOS.h"

struct tskTaskControlBlock;
typedef struct tskTaskControlBlock* TaskHandle_t;
typedef void (*TaskFunction_t)(void*);

BaseType_t xTaskCreatePinnedToCore(TaskFunction_t code, const char* const name, const uint32_t stackDepth,
                                   void* const parameters, UBaseType_t priority, TaskHandle_t* const created,
                                   const BaseType_t core);
void vTaskNotifyGiveFromISR(TaskHandle_t task, BaseType_t* const higherPriorityTaskWoken);
uint32_t ulTaskNotifyTake(BaseType_t clearOnExit, TickType_t ticksToWait);

#endif  // FREERTOS_TASK_SHIM_H
