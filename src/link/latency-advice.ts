import { basename } from 'node:path';

/** What a user can do about samples that come in bursts, most often from a USB serial adapter's latency timer, in one line. */
export function latencyAdvice(
  batchMs: number,
  portPath: string,
  platform: NodeJS.Platform = process.platform,
): string {
  const bursts = `Samples come in bursts, one every ${Math.round(batchMs)} ms`;
  const every = `${bursts}: the USB adapter collects them.`;
  switch (platform) {
    case 'linux':
      return linuxAdvice(bursts, portPath);
    case 'win32':
      return `${every} Shorten its timer: Device Manager, Ports, ${portPath}, Port Settings, Advanced, Latency Timer: 1 ms.`;
    case 'darwin':
      return `${every} Shorten the latency timer in the settings of the adapter's driver; the system's driver has no such setting, but the adapter maker's may.`;
    default:
      return `${every} Shorten the latency timer in the settings of the adapter's driver.`;
  }
}

/** Only adapters of their own (ttyUSB) have the timer; a path under /dev/serial/ may lead to one. */
function linuxAdvice(bursts: string, portPath: string): string {
  const name = basename(portPath);
  if (/^ttyUSB\d+$/.test(name)) {
    return `${bursts}: the USB adapter collects them. Shorten its timer: echo 1 | sudo tee /sys/bus/usb-serial/devices/${name}/latency_timer, or sudo setserial ${portPath} low_latency; the udev rule that comes with the program does so permanently.`;
  }
  if (portPath.startsWith('/dev/serial/')) {
    return `${bursts}: a USB adapter collects them, or this computer is busy. For an adapter: sudo setserial ${portPath} low_latency; the udev rule that comes with the program does so permanently.`;
  }
  return `${bursts}: the glove sends them together, or this computer is too busy to take them one by one.`;
}
