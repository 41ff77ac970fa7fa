import { readdir, readFile, realpath } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';

/** A serial port and, when it hangs on USB, what the device says of itself. */
export interface PortInfo {
  /** Such as /dev/ttyUSB0 or COM3. */
  path: string;
  /** USB vendor and product id, four lower-case hex digits. */
  vendor?: string;
  product?: string;
  /** USB serial number. */
  serial?: string;
  manufacturer?: string;
  productName?: string;
  /** A name that stays when the numbering changes (Linux: /dev/serial/by-id/...). */
  stablePath?: string;
}

export interface ListPortsOptions {
  platform?: NodeJS.Platform;
  /** Linux: where sysfs and the device files are. */
  sysRoot?: string;
  devRoot?: string;
}

/** Every serial port of this machine, those on USB first, then by path. */
export async function listPorts(options: ListPortsOptions = {}): Promise<PortInfo[]> {
  const { platform = process.platform, sysRoot = '/sys', devRoot = '/dev' } = options;
  const ports = platform === 'linux' ? await listLinux(sysRoot, devRoot) : await listOther();
  return ports.sort(
    (a, b) =>
      Number(b.vendor !== undefined) - Number(a.vendor !== undefined) ||
      a.path.localeCompare(b.path, 'en', { numeric: true }),
  );
}

/** A port for people: its path, then what it is. */
export function describePort(port: PortInfo): string {
  const name = [port.manufacturer, port.productName].filter(Boolean).join(' ');
  const identity = port.vendor && `USB ${port.vendor}:${port.product}${port.serial ? ` ${port.serial}` : ''}`;
  const details = [name, identity].filter(Boolean).join(', ');
  return details ? `${port.path} (${details})` : port.path;
}

const entries = (directory: string): Promise<string[]> => readdir(directory).catch(() => []);
const text = async (file: string): Promise<string | undefined> => {
  const content = await readFile(file, 'utf8').catch(() => '');
  return content.trim() || undefined;
};

/** serialport's own list runs udevadm, and where that is missing it takes the process down: sysfs holds all. */
async function listLinux(sysRoot: string, devRoot: string): Promise<PortInfo[]> {
  const stablePaths = new Map<string, string>();
  const byId = join(devRoot, 'serial', 'by-id');
  for (const link of await entries(byId)) {
    const target = await realpath(join(byId, link)).catch(() => undefined);
    if (target) stablePaths.set(basename(target), join(byId, link));
  }
  const ports: PortInfo[] = [];
  for (const name of await entries(join(sysRoot, 'class', 'tty'))) {
    const tty = join(sysRoot, 'class', 'tty', name);
    // Consoles and pseudo-terminals hang on no device.
    const device = await realpath(join(tty, 'device')).catch(() => undefined);
    if (!device) continue;
    // The kernel reserves ttyS numbers for UARTs that are not there: type 0, unknown.
    if ((await text(join(tty, 'type'))) === '0') continue;
    const port: PortInfo = { path: join(devRoot, name) };
    const usb = await usbDeviceAbove(device, sysRoot);
    if (usb) {
      port.vendor = (await text(join(usb, 'idVendor')))?.toLowerCase();
      port.product = (await text(join(usb, 'idProduct')))?.toLowerCase();
      port.serial = await text(join(usb, 'serial'));
      port.manufacturer = await text(join(usb, 'manufacturer'));
      port.productName = await text(join(usb, 'product'));
    }
    port.stablePath = stablePaths.get(name);
    ports.push(withoutUndefined(port));
  }
  return ports;
}

/** A tty hangs on a USB interface, which hangs on the USB device that carries the identity. */
async function usbDeviceAbove(device: string, sysRoot: string): Promise<string | undefined> {
  const root = await realpath(sysRoot);
  for (let at = device; at.startsWith(root) && at !== root; at = dirname(at))
    if (await text(join(at, 'idVendor'))) return at;
  return undefined;
}

async function listOther(): Promise<PortInfo[]> {
  const { SerialPort } = await import('serialport');
  const found = await SerialPort.list();
  return found.map((port) =>
    withoutUndefined({
      path: port.path,
      vendor: port.vendorId?.toLowerCase(),
      product: port.productId?.toLowerCase(),
      serial: port.serialNumber,
      manufacturer: port.manufacturer,
    }),
  );
}

const withoutUndefined = (port: PortInfo): PortInfo =>
  Object.fromEntries(Object.entries(port).filter(([, value]) => value !== undefined)) as unknown as PortInfo;
