// From memory of the maker's header.
#ifndef ESP_ROM_GPIO_SHIM_H
#define ESP_ROM_GPIO_SHIM_H

#include <stdint.h>

extern "C" void esp_rom_gpio_connect_out_signal(uint32_t gpio_num, uint32_t signal_idx, bool out_inv, bool oen_inv);

#endif  // ESP_ROM_GPIO_SHIM_H
