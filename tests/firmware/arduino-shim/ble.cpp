// Bluetooth LE of the stand-in board: one host, connected from the start of the first run.
#include <BLEDevice.h>

#include <cstring>

#include "board.h"

namespace {
BLEServer server;
BLEServerCallbacks* serverCallbacks = nullptr;
BLEService service;
BLEAdvertising advertising;
BLECharacteristic* toGlove = nullptr;
}  // namespace

void connectHost() {
  esp_ble_gatts_cb_param_t parameters = {};
  serverCallbacks->onConnect(&server, &parameters);
}

void receiveFromHost(const std::vector<uint8_t>& bytes) {
  toGlove->value_ = bytes;
  toGlove->callbacks_->onWrite(toGlove);
}

void BLEDevice::init(const char*) { board.pass(board.setupUs); }
void BLEDevice::setMTU(uint16_t) {}
BLEServer* BLEDevice::createServer() { return &server; }
BLEAdvertising* BLEDevice::getAdvertising() { return &advertising; }
void BLEDevice::startAdvertising() {}

void BLEServer::setCallbacks(BLEServerCallbacks* callbacks) { serverCallbacks = callbacks; }
BLEService* BLEServer::createService(const char*) { return &service; }
uint16_t BLEServer::getConnId() { return 0; }
uint16_t BLEServer::getPeerMTU(uint16_t) { return 247; }
void BLEServer::disconnect(uint16_t) { serverCallbacks->onDisconnect(&server); }
void BLEServer::updateConnParams(esp_bd_addr_t, uint16_t, uint16_t, uint16_t, uint16_t) {}

BLECharacteristic* BLEService::createCharacteristic(const char*, uint32_t properties) {
  auto* made = new BLECharacteristic;
  if (properties == BLECharacteristic::PROPERTY_WRITE_NR) toGlove = made;
  return made;
}
void BLEService::start() {}

void BLEAdvertising::addServiceUUID(const char*) {}
void BLEAdvertising::setScanResponse(bool) {}
void BLEAdvertising::setMinPreferred(uint16_t) {}

void BLECharacteristic::addDescriptor(BLEDescriptor*) {}
void BLECharacteristic::setCallbacks(BLECharacteristicCallbacks* callbacks) { callbacks_ = callbacks; }
void BLECharacteristic::setValue(uint8_t* data, size_t length) { value_.assign(data, data + length); }
void BLECharacteristic::notify(bool) { board.written(value_.data(), value_.size()); }
uint8_t* BLECharacteristic::getData() { return value_.data(); }
size_t BLECharacteristic::getLength() { return value_.size(); }
