// From memory of the maker's header.
#ifndef ESP_ERR_SHIM_H
#define ESP_ERR_SHIM_H

typedef int esp_err_t;
#define ESP_OK 0
#define ESP_ERR_INVALID_STATE 0x103

#endif  // ESP_ERR_SHIM_H
