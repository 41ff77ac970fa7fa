import { basename } from 'node:path';

/** What a user can do about a USB serial adapter that collects bytes (its latency timer), in one line. */
export function latencyAdvice(
  batchMs: number,
  portPath: string,
  platform: NodeJS.Platform = process.platform,
): string {
  const every = `Samples come in bursts, one every ${Math.round(batchMs)} ms: the USB adapter collects them.`;
  switch (platform) {
    case 'linux': {
      const name = /^tty\w+$/.test(basename(portPath)) ? basename(portPath) : 'ttyUSB0';
      return `${every} Shorten its timer: echo 1 | sudo tee /sys/bus/usb-serial/devices/${name}/latency_timer, or sudo setserial ${portPath} low_latency; the udev rule that comes with the program does so permanently.`;
    }
    case 'win32':
      return `${every} Shorten its timer: Device Manager, Ports, ${portPath}, Port Settings, Advanced, Latency Timer: 1 ms.`;
    case 'darwin':
      return `${every} Shorten the latency timer in the settings of the adapter's driver; the system's driver has no such setting, but the adapter maker's may.`;
    default:
      return `${every} Shorten the latency timer in the settings of the adapter's driver.`;
  }
}
