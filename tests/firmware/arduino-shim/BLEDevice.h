// Just enough of the ESP32 core's BLE library to compile the sketch (from memory of its headers), and to run it on the
// stand-in for a board (ble.cpp), whose members end in an underscore.
#ifndef BLE_DEVICE_SHIM_H
#define BLE_DEVICE_SHIM_H

#include <stddef.h>
#include <stdint.h>

#include <vector>

typedef uint8_t esp_bd_addr_t[6];
struct esp_ble_gatts_cb_param_t {
  struct {
    uint16_t conn_id;
    esp_bd_addr_t remote_bda;
  } connect;
};

class BLEDescriptor {};
class BLE2902 : public BLEDescriptor {};

class BLECharacteristic;
class BLECharacteristicCallbacks {
 public:
  virtual ~BLECharacteristicCallbacks() {}
  virtual void onWrite(BLECharacteristic* characteristic) = 0;
};
class BLECharacteristic {
 public:
  static const uint32_t PROPERTY_NOTIFY = 1 << 2;
  static const uint32_t PROPERTY_WRITE_NR = 1 << 5;
  void addDescriptor(BLEDescriptor* descriptor);
  void setCallbacks(BLECharacteristicCallbacks* callbacks);
  void setValue(uint8_t* data, size_t length);
  void notify(bool isNotification = true);
  uint8_t* getData();
  size_t getLength();

  BLECharacteristicCallbacks* callbacks_ = nullptr;
  std::vector<uint8_t> value_;
};

class BLEService {
 public:
  BLECharacteristic* createCharacteristic(const char* uuid, uint32_t properties);
  void start();
};

class BLEServer;
class BLEServerCallbacks {
 public:
  virtual ~BLEServerCallbacks() {}
  virtual void onConnect(BLEServer* server, esp_ble_gatts_cb_param_t* param) = 0;
  virtual void onDisconnect(BLEServer* server) = 0;
};
class BLEServer {
 public:
  void setCallbacks(BLEServerCallbacks* callbacks);
  BLEService* createService(const char* uuid);
  uint16_t getConnId();
  uint16_t getPeerMTU(uint16_t connId);
  void disconnect(uint16_t connId);
  void updateConnParams(esp_bd_addr_t address, uint16_t minInterval, uint16_t maxInterval, uint16_t latency,
                        uint16_t timeout);
};

class BLEAdvertising {
 public:
  void addServiceUUID(const char* uuid);
  void setScanResponse(bool on);
  void setMinPreferred(uint16_t interval);
};

class BLEDevice {
 public:
  static void init(const char* name);
  static void setMTU(uint16_t mtu);
  static BLEServer* createServer();
  static BLEAdvertising* getAdvertising();
  static void startAdvertising();
};

#endif  // BLE_DEVICE_SHIM_H
