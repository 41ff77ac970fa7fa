// The byte path over Bluetooth LE instead of USB serial: one GATT service, two characteristics (core/protocol_table.h).
// Uses the BLE library that comes with the ESP32 core. Its callbacks run in another task than loop().
#ifndef BLE_LINK_H
#define BLE_LINK_H

#include <Arduino.h>
#include <BLE2902.h>
#include <BLEDevice.h>
#include <BLEServer.h>
#include <BLEUtils.h>

#include <atomic>

#include "pins.h"

// Shortest interval that the standard allows, and twice that, in units of 1.25 ms; time-out in units of 10 ms
// (Bluetooth Core Specification, Vol 6, Part B, 4.5.1 and Vol 3, Part A, 4.20, from memory).
static const uint16_t BLE_INTERVAL_MIN = 6;
static const uint16_t BLE_INTERVAL_MAX = 12;
static const uint16_t BLE_SUPERVISION_TIMEOUT = 100;
// The service asks for an answer every second. A host that is silent for longer has crashed: drop the connection, so
// that the glove advertises and can be found again.
static const uint32_t BLE_HOST_SILENT_MS = 3000;

// One task puts bytes in, the other takes them out.
class ByteRing {
 public:
  void put(const uint8_t* data, size_t length) {
    for (size_t i = 0; i < length; ++i) {
      const uint16_t next = static_cast<uint16_t>((head_ + 1) % SIZE);
      if (next == tail_) return;  // full: the frame's CRC will tell
      bytes_[head_] = data[i];
      head_ = next;
    }
  }
  bool take(uint8_t& byte) {
    if (tail_ == head_) return false;
    byte = bytes_[tail_];
    tail_ = static_cast<uint16_t>((tail_ + 1) % SIZE);
    return true;
  }

 private:
  static const uint16_t SIZE = 512;
  uint8_t bytes_[SIZE];
  std::atomic<uint16_t> head_{0};
  std::atomic<uint16_t> tail_{0};
};

class BleLink : public BLEServerCallbacks, public BLECharacteristicCallbacks {
 public:
  void begin(const char* name) {
    BLEDevice::init(name);
    BLEDevice::setMTU(kBleMtu);
    server_ = BLEDevice::createServer();
    server_->setCallbacks(this);
    BLEService* service = server_->createService(ble_uuid::service);
    toHost_ = service->createCharacteristic(ble_uuid::to_host, BLECharacteristic::PROPERTY_NOTIFY);
    toHost_->addDescriptor(new BLE2902());
    BLECharacteristic* toGlove =
        service->createCharacteristic(ble_uuid::to_glove, BLECharacteristic::PROPERTY_WRITE_NR);
    toGlove->setCallbacks(this);
    service->start();
    BLEAdvertising* advertising = BLEDevice::getAdvertising();
    advertising->addServiceUUID(ble_uuid::service);
    advertising->setScanResponse(true);
    advertising->setMinPreferred(BLE_INTERVAL_MIN);
    BLEDevice::startAdvertising();
  }

  bool read(uint8_t& byte) { return received_.take(byte); }

  uint16_t room() const { return connected_ ? static_cast<uint16_t>(sizeof waiting_ - length_) : 0; }

  void write(const uint8_t* data, uint16_t length) {
    for (uint16_t i = 0; i < length && length_ < sizeof waiting_; ++i) waiting_[length_++] = data[i];
  }

  // Sends what is waiting, in packets that fit, and sees to the connection.
  void poll() {
    if (!connected_) {
      length_ = 0;
      if (advertise_.exchange(false)) BLEDevice::startAdvertising();
      return;
    }
    if (millis() - heardMs_ > BLE_HOST_SILENT_MS) {
      heardMs_ = millis();
      server_->disconnect(server_->getConnId());
      return;
    }
    const uint16_t mtu = server_->getPeerMTU(server_->getConnId());
    const uint16_t packet = mtu > kBleMinPacket + 3 ? static_cast<uint16_t>(mtu - 3) : kBleMinPacket;
    for (uint16_t at = 0; at < length_; at = static_cast<uint16_t>(at + packet)) {
      const uint16_t left = static_cast<uint16_t>(length_ - at);
      toHost_->setValue(waiting_ + at, left < packet ? left : packet);
      toHost_->notify();
    }
    length_ = 0;
  }

  void onConnect(BLEServer* server, esp_ble_gatts_cb_param_t* param) override {
    server->updateConnParams(param->connect.remote_bda, BLE_INTERVAL_MIN, BLE_INTERVAL_MAX, 0,
                             BLE_SUPERVISION_TIMEOUT);
    heardMs_ = millis();
    connected_ = true;
  }
  void onDisconnect(BLEServer*) override {
    connected_ = false;
    advertise_ = true;
  }
  void onWrite(BLECharacteristic* characteristic) override {
    heardMs_ = millis();
    received_.put(characteristic->getData(), characteristic->getLength());
  }

 private:
  BLEServer* server_ = nullptr;
  BLECharacteristic* toHost_ = nullptr;
  ByteRing received_;
  uint8_t waiting_[512];
  uint16_t length_ = 0;
  std::atomic<bool> connected_{false};
  std::atomic<bool> advertise_{false};
  std::atomic<uint32_t> heardMs_{0};
};

#endif  // BLE_LINK_H
