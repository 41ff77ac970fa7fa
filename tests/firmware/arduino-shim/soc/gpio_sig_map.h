// From memory of the maker's header for the ESP32: the pin's own level.
#define SIG_GPIO_OUT_IDX 256
