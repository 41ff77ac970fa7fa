import type { Clock } from '../clock.js';
import type { LinkProfile } from '../config/schema.js';
import { TautlineError } from '../errors.js';
import type { HandSide } from '../hand/joints.js';
import { askPorts } from './ask-ports.js';
import { blePort } from './ble-port.js';
import type { GloveCodec, GloveMessages } from './codec.js';
import { createFrameCodec } from './frames.js';
import { type KeeperOptions, keepLink } from './keeper.js';
import type { Link, OpenPort } from './link.js';
import { describePort, listPorts, type PortInfo } from './list-ports.js';
import { serialPort } from './serial-port.js';
import { simulatedPort } from './simulated-port.js';
import { createTakenPorts, type TakenPorts, takingPort } from './taken-ports.js';

type SerialProfile = Extract<LinkProfile, { kind: 'serial' }>;

/** A try looks for the glove for seconds by itself: no long pause is needed in between. */
const BLE_MAX_RETRY_MS = 1000;

export interface LinkDeps {
  /** Hand of the glove at the other end; a simulated one takes it. */
  hand: HandSide;
  clock?: Clock;
  random?: () => number;
  /** How the glove talks, to recognise it by; the link protocol when absent. */
  codec?: (messages: GloveMessages) => GloveCodec;
  /** There is no other glove in the profile. */
  onlyGlove?: boolean;
  /** The ports of the other gloves. */
  taken?: TakenPorts;
  /** The ports of this machine; tests put their own here. */
  listPorts?: () => Promise<PortInfo[]>;
  /** Pauses between tries, in place of the keeper's. */
  retry?: Pick<KeeperOptions, 'firstRetryMs' | 'maxRetryMs'>;
}

/** The link that a profile asks for, not yet open. */
export function openLink(profile: LinkProfile, deps: LinkDeps): Link {
  const { hand, clock, random, retry } = deps;
  const keep = (openPort: OpenPort, address: string, silentMs?: number): Link =>
    keepLink(openPort, { address, silentMs, clock, random, ...retry });
  switch (profile.kind) {
    case 'simulated':
      return keepLink(simulatedPort({ hand, ...profile, clock }), {
        address: `simulated ${hand} glove`,
        simulated: true,
        clock,
        random,
        ...retry,
      });
    case 'serial':
      return keep(serialPortOf(profile, deps), addressOf(profile), profile.silentMs);
    case 'ble': {
      const { name = `Tautline ${hand}`, address, silentMs } = profile;
      return keepLink(blePort({ name, address }), {
        address: `Bluetooth ${address ?? name}`,
        silentMs,
        maxRetryMs: BLE_MAX_RETRY_MS,
        clock,
        random,
        ...retry,
      });
    }
  }
}

/** What a serial link leads to, for people. */
export const addressOf = ({ path, usb }: SerialProfile): string =>
  path ?? (usb ? usbName(usb) : 'serial port');

const usbName = ({ vendor, product, serial }: NonNullable<SerialProfile['usb']>): string =>
  ['USB', vendor && `vendor ${vendor}`, product && `product ${product}`, serial && `serial ${serial}`]
    .filter(Boolean)
    .join(' ');

/** Looks the port up again at each try, so that a glove is found again under another number. */
function serialPortOf(profile: SerialProfile, deps: LinkDeps): OpenPort {
  const { path, usb, baud, dtr, rts } = profile;
  const { hand, onlyGlove = false, taken = createTakenPorts(), codec = createFrameCodec, clock } = deps;
  const list = deps.listPorts ?? listPorts;
  const open = (port: string) => takingPort(port, hand, taken, serialPort({ path: port, baud, dtr, rts }));
  if (path !== undefined) {
    taken.reserve(path, hand);
    return open(path);
  }

  const free = async (ports: PortInfo[]): Promise<PortInfo[]> => {
    const owners = await Promise.all(ports.map((port) => taken.ownerOf(port.path)));
    return ports.filter((_, i) => owners[i] === undefined || owners[i] === hand);
  };
  const ask = (candidates: () => Promise<PortInfo[]>, where?: string) =>
    askPorts({ hand, anyHand: onlyGlove, codec, candidates, open, where, clock });
  if (!usb) return ask(async () => free(await list()));

  let matching: PortInfo[] = [];
  const askMatching = ask(() => free(matching), `on the ports that are ${usbName(usb)}`);
  return async (events, abandoned) => {
    const ports = await list();
    matching = ports.filter((port) => isUsb(port, usb));
    if (matching.length === 1) return open(matching[0].path)(events, abandoned);
    if (matching.length > 1) return askMatching(events, abandoned);
    throw new TautlineError(
      'portMissing',
      `No serial port is ${usbName(usb)}.`,
      ports.length > 0
        ? `Ports here: ${ports.map(describePort).join('; ')}.`
        : 'There is no serial port here.',
    );
  };
}

export function isUsb(
  port: PortInfo,
  { vendor, product, serial }: NonNullable<SerialProfile['usb']>,
): boolean {
  return (
    port.vendor !== undefined &&
    (vendor === undefined || vendor.toLowerCase() === port.vendor) &&
    (product === undefined || product.toLowerCase() === port.product) &&
    (serial === undefined || serial === port.serial)
  );
}
