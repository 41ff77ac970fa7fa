// Just enough of FreeRTOS; its public reference, from memory.
#ifndef FREERTOS_SHIM_H
#define FREERTOS_SHIM_H

#include <stdint.h>

typedef int BaseType_t;
typedef unsigned int UBaseType_t;
typedef uint32_t TickType_t;
#define pdFALSE ((BaseType_t)0)
#define pdTRUE ((BaseType_t)1)
#define pdPASS (pdTRUE)
#define portMAX_DELAY ((TickType_t)0xffffffffUL)
#define configMAX_PRIORITIES (25)
#define portYIELD_FROM_ISR() vPortYieldFromIsr()
void vPortYieldFromIsr();

#endif  // FREERTOS_SHIM_H
