import { createRequire } from 'node:module';
import { BLE } from '../../../src/protocol/link-table.js';

// CommonJS without named exports.
const dbus = createRequire(import.meta.url)('dbus-next') as typeof import('dbus-next');
const { Message, Variant } = dbus;
/** Its declared type is wrong: the first argument is the message that is answered. */
const newError = Message.newError as unknown as (
  call: object,
  name: string,
  text: string,
) => InstanceType<typeof Message>;

/**
 * As much of BlueZ's D-Bus interface as a central uses: one adapter and one glove within its range.
 * Interfaces and behaviour after BlueZ's documents (doc/org.bluez.Adapter.rst, .Device.rst, .GattCharacteristic.rst;
 * from memory): a device appears when it is discovered, its GATT objects once it is connected, and values of a
 * notifying characteristic come as PropertiesChanged.
 */
export interface RadioOptions {
  name: string;
  /** Bluetooth device address, such as 02:00:00:00:00:01. */
  address: string;
  /** ATT MTU that the two ends agreed on. */
  mtu: number;
  /** The central wrote. */
  written(bytes: Uint8Array): void;
  /** The central subscribed or went away. */
  subscribed(on: boolean): void;
}

export interface Radio {
  readonly counts: { connects: number; subscriptions: number; notifications: number; writes: number };
  readonly connected: boolean;
  /** How long the stack takes to answer the next writes, ms. */
  writeDelayMs: number;
  /** How long it takes to connect, ms. */
  connectDelayMs: number;
  /** Sends a value to the subscriber; false when there is none. */
  notify(bytes: Uint8Array): boolean;
  /** The connection breaks; the glove advertises again. */
  disconnect(): void;
  /** Glove in range and switched on, or not. */
  setPresent(on: boolean): void;
  setPowered(on: boolean): void;
  stop(): void;
}

type Interfaces = Record<string, Record<string, InstanceType<typeof Variant>>>;

const ADAPTER = '/org/bluez/hci0';
const ADVERTISING_MS = 100;
const OBJECTS = 'org.freedesktop.DBus.ObjectManager';
const PROPERTIES = 'org.freedesktop.DBus.Properties';
const ADAPTER_1 = 'org.bluez.Adapter1';
const DEVICE_1 = 'org.bluez.Device1';
const CHARACTERISTIC_1 = 'org.bluez.GattCharacteristic1';

export async function startRadio(options: RadioOptions): Promise<Radio> {
  const device = `${ADAPTER}/dev_${options.address.replaceAll(':', '_')}`;
  const service = `${device}/service0010`;
  const toHost = `${service}/char0011`;
  const toGlove = `${service}/char0014`;
  const bus = dbus.systemBus();

  const counts = { connects: 0, subscriptions: 0, notifications: 0, writes: 0 };
  let subscriber: string | undefined;
  let present = true;
  let advertising: NodeJS.Timeout | undefined;

  const text = (value: string) => new Variant('s', value);
  const flag = (value: boolean) => new Variant('b', value);
  const characteristic = (uuid: string, ...flags: string[]): Interfaces => ({
    [CHARACTERISTIC_1]: {
      UUID: text(uuid),
      Service: new Variant('o', service),
      Value: new Variant('ay', Buffer.alloc(0)),
      Flags: new Variant('as', flags),
      Notifying: flag(false),
      MTU: new Variant('q', options.mtu),
    },
  });

  /** What the object manager shows, by path. */
  const objects: Record<string, Interfaces> = {
    '/org/bluez': { 'org.bluez.AgentManager1': {} },
    [ADAPTER]: {
      [ADAPTER_1]: {
        Address: text('02:00:00:00:00:00'),
        AddressType: text('public'),
        Name: text('test adapter'),
        Alias: text('test adapter'),
        Powered: flag(true),
        Discovering: flag(false),
        UUIDs: new Variant('as', []),
      },
    },
  };
  const deviceObject = (): Interfaces => ({
    [DEVICE_1]: {
      Address: text(options.address),
      AddressType: text('random'),
      Name: text(options.name),
      Alias: text(options.name),
      Adapter: new Variant('o', ADAPTER),
      UUIDs: new Variant('as', [BLE.service]),
      Paired: flag(false),
      Bonded: flag(false),
      Trusted: flag(false),
      Blocked: flag(false),
      LegacyPairing: flag(false),
      Connected: flag(false),
      ServicesResolved: flag(false),
      RSSI: new Variant('n', -50),
    },
  });
  const gattObjects: Record<string, Interfaces> = {
    [service]: {
      'org.bluez.GattService1': {
        UUID: text(BLE.service),
        Device: new Variant('o', device),
        Primary: flag(true),
        Includes: new Variant('ao', []),
      },
    },
    [toHost]: characteristic(BLE.toHost, 'notify'),
    [toGlove]: characteristic(BLE.toGlove, 'write-without-response'),
  };

  const add = (path: string, interfaces: Interfaces): void => {
    if (objects[path]) return;
    objects[path] = interfaces;
    bus.send(Message.newSignal('/', OBJECTS, 'InterfacesAdded', 'oa{sa{sv}}', [path, interfaces]));
  };
  const remove = (path: string): void => {
    const interfaces = objects[path];
    if (!interfaces) return;
    delete objects[path];
    bus.send(Message.newSignal('/', OBJECTS, 'InterfacesRemoved', 'oas', [path, Object.keys(interfaces)]));
  };
  const change = (path: string, name: string, changed: Interfaces[string]): void => {
    if (!objects[path]) return;
    Object.assign(objects[path]![name]!, changed);
    bus.send(Message.newSignal(path, PROPERTIES, 'PropertiesChanged', 'sa{sv}as', [name, changed, []]));
  };
  const isConnected = (): boolean => objects[device]?.[DEVICE_1]?.Connected?.value === true;

  const advertise = (): void => {
    if (!present || isConnected()) return;
    if (objects[device]) change(device, DEVICE_1, { RSSI: new Variant('n', -50 - (Date.now() % 3)) });
    else add(device, deviceObject());
  };
  const discover = (on: boolean): void => {
    clearInterval(advertising);
    advertising = on ? setInterval(advertise, ADVERTISING_MS) : undefined;
    change(ADAPTER, ADAPTER_1, { Discovering: flag(on) });
    if (on) advertise();
  };
  const unsubscribe = (): void => {
    if (subscriber === undefined) return;
    subscriber = undefined;
    change(toHost, CHARACTERISTIC_1, { Notifying: flag(false) });
    options.subscribed(false);
  };
  const disconnect = (): void => {
    if (!isConnected()) return;
    unsubscribe();
    change(device, DEVICE_1, { ServicesResolved: flag(false) });
    for (const path of Object.keys(gattObjects).reverse()) remove(path);
    change(device, DEVICE_1, { Connected: flag(false) });
  };

  type Call = InstanceType<typeof Message>;
  class Refused extends Error {
    constructor(readonly errorName: string) {
      super(errorName);
    }
  }
  const later = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms));

  /** Signature and body of the reply. */
  const answer = async (call: Call): Promise<[string, unknown[]] | undefined> => {
    const { path, member, body } = call;
    switch (`${call.interface}.${member}`) {
      case `${OBJECTS}.GetManagedObjects`:
        return ['a{oa{sa{sv}}}', [objects]];
      case `${PROPERTIES}.Get`: {
        const value = objects[path]?.[body[0]]?.[body[1]];
        if (!value) throw new Refused('org.freedesktop.DBus.Error.InvalidArgs');
        return ['v', [value]];
      }
      case `${PROPERTIES}.GetAll`:
        return ['a{sv}', [objects[path]?.[body[0]] ?? {}]];
      case `${PROPERTIES}.Set`:
        change(path, body[0], { [body[1]]: body[2] });
        return;
      case `${ADAPTER_1}.StartDiscovery`:
        if (!objects[ADAPTER]![ADAPTER_1]!.Powered!.value) throw new Refused('org.bluez.Error.NotReady');
        discover(true);
        return;
      case `${ADAPTER_1}.StopDiscovery`:
        discover(false);
        return;
      case `${DEVICE_1}.Connect`:
        await later(radio.connectDelayMs);
        if (!present) throw new Refused('org.bluez.Error.Failed');
        if (isConnected()) return;
        counts.connects++;
        change(device, DEVICE_1, { Connected: flag(true) });
        for (const [at, interfaces] of Object.entries(gattObjects)) add(at, interfaces);
        change(device, DEVICE_1, { ServicesResolved: flag(true) });
        return;
      case `${DEVICE_1}.Disconnect`:
        disconnect();
        return;
      case `${CHARACTERISTIC_1}.StartNotify`:
        subscriber = call.sender;
        counts.subscriptions++;
        change(toHost, CHARACTERISTIC_1, { Notifying: flag(true) });
        options.subscribed(true);
        return;
      case `${CHARACTERISTIC_1}.StopNotify`:
        unsubscribe();
        return;
      case `${CHARACTERISTIC_1}.WriteValue`:
        if (path !== toGlove || !isConnected()) throw new Refused('org.bluez.Error.NotConnected');
        // A write without response must fit into one packet.
        if (body[0].length > options.mtu - 3) throw new Refused('org.bluez.Error.InvalidValueLength');
        counts.writes++;
        options.written(body[0]);
        await later(radio.writeDelayMs);
        return;
      default:
        return;
    }
  };

  bus.addMethodHandler((call: Call): boolean => {
    if (call.destination !== 'org.bluez' && !call.path.startsWith('/org/bluez') && call.path !== '/')
      return false;
    void answer(call).then(
      (reply) => bus.send(Message.newMethodReturn(call, reply?.[0] ?? '', reply?.[1] ?? [])),
      (error: Error) => {
        const name = error instanceof Refused ? error.errorName : 'org.bluez.Error.Failed';
        bus.send(newError(call, name, error.message));
      },
    );
    return true;
  });

  const radio: Radio = {
    counts,
    get connected() {
      return isConnected();
    },
    writeDelayMs: 0,
    connectDelayMs: 0,
    notify(bytes) {
      if (subscriber === undefined) return false;
      counts.notifications++;
      change(toHost, CHARACTERISTIC_1, { Value: new Variant('ay', Buffer.from(bytes)) });
      return true;
    },
    disconnect,
    setPresent(on) {
      present = on;
      if (!on) {
        disconnect();
        remove(device);
      }
    },
    setPowered(on) {
      if (!on) {
        discover(false);
        disconnect();
      }
      change(ADAPTER, ADAPTER_1, { Powered: flag(on) });
    },
    stop() {
      clearInterval(advertising);
      bus.disconnect();
    },
  };
  await bus.requestName('org.bluez', 0);
  return radio;
}
