import type { LinkProfile } from '../config/schema.js';
import { TautlineError } from '../errors.js';
import type { HandSide } from '../hand/joints.js';
import type { Clock } from '../monotonic.js';
import { keepLink } from './keeper.js';
import type { Link, OpenPort } from './link.js';
import { describePort, listPorts, type PortInfo } from './list-ports.js';
import { serialPort } from './serial-port.js';
import { simulatedPort } from './simulated-port.js';

type SerialProfile = Extract<LinkProfile, { kind: 'serial' }>;

export interface LinkDeps {
  /** Hand of the glove at the other end; a simulated one takes it. */
  hand: HandSide;
  clock?: Clock;
  random?: () => number;
  /** The ports of this machine; tests put their own here. */
  listPorts?: () => Promise<PortInfo[]>;
}

/**
 * The link that a profile asks for, not yet open.
 * @throws TautlineError notSupported when this version cannot reach a glove that way
 */
export function openLink(profile: LinkProfile, deps: LinkDeps): Link {
  const { hand, clock, random } = deps;
  const keep = (openPort: OpenPort, address: string, silentMs?: number): Link =>
    keepLink(openPort, { address, silentMs, clock, random });
  switch (profile.kind) {
    case 'simulated':
      return keep(simulatedPort({ hand, ...profile, clock }), `simulated ${hand} glove`);
    case 'serial':
      return keep(serialPortOf(profile, deps.listPorts ?? listPorts), addressOf(profile), profile.silentMs);
    case 'ble':
      throw new TautlineError(
        'notSupported',
        'A Bluetooth LE link (`kind: ble`) is not available in this version.',
        'Connect the glove by USB and use `kind: serial`.',
      );
  }
}

const addressOf = ({ path, usb }: SerialProfile): string => path ?? (usb ? usbName(usb) : 'serial port');

const usbName = ({ vendor, product, serial }: NonNullable<SerialProfile['usb']>): string =>
  ['USB', vendor && `vendor ${vendor}`, product && `product ${product}`, serial && `serial ${serial}`]
    .filter(Boolean)
    .join(' ');

/** Looks the port up anew at each try, so that a glove is found again under another number. */
function serialPortOf(profile: SerialProfile, list: () => Promise<PortInfo[]>): OpenPort {
  const { path, usb, baud, dtr, rts } = profile;
  if (path !== undefined) return serialPort({ path, baud, dtr, rts });
  if (!usb) {
    throw new TautlineError(
      'notSupported',
      'A serial link needs `path` or `usb`: asking every port for a hello is not available in this version.',
      'Add the path of the port, such as /dev/ttyUSB0 or COM3, to the profile.',
    );
  }
  return async (events) => {
    const ports = await list();
    const matching = ports.filter((port) => isUsb(port, usb));
    if (matching.length === 1) return serialPort({ path: matching[0].path, baud, dtr, rts })(events);
    const present =
      ports.length > 0 ? `Ports here: ${ports.map(describePort).join('; ')}.` : 'There is none at all.';
    throw matching.length === 0
      ? new TautlineError('portMissing', `No serial port is ${usbName(usb)}.`, present)
      : new TautlineError(
          'tooMany',
          `${matching.length} serial ports are ${usbName(usb)}: ${matching.map(describePort).join('; ')}.`,
          'Add the serial number, or name the path.',
        );
  };
}

function isUsb(port: PortInfo, { vendor, product, serial }: NonNullable<SerialProfile['usb']>): boolean {
  return (
    port.vendor !== undefined &&
    (vendor === undefined || vendor.toLowerCase() === port.vendor) &&
    (product === undefined || product.toLowerCase() === port.product) &&
    (serial === undefined || serial === port.serial)
  );
}
