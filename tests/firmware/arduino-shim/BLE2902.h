#include "BLEDevice.h"
