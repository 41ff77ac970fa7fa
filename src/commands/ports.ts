import type { Command } from 'commander';

import type { PortInfo } from '../link/list-ports.js';

export function addPortsCommand(program: Command): void {
  program
    .command('ports')
    .description(
      'List the serial ports of this machine, with what a profile can name them by and who holds them.',
    )
    .option('--json', 'print JSON')
    .addHelpText(
      'after',
      '\nExample:\n  tautline ports\n\nA port that is found by its USB identity is found again in another socket: put vendor and product under\nlink.usb in the profile.',
    )
    .action(async ({ json }: { json?: boolean }) => {
      const [{ listPorts }, { findHolders }] = await Promise.all([
        import('../link/list-ports.js'),
        import('../link/port-holders.js'),
      ]);
      const found = await listPorts();
      const holders = await findHolders(found.map(({ path }) => path));
      const ports = found.map((port) => ({ ...port, heldBy: holders.get(port.path) ?? [] }));
      if (json) console.log(JSON.stringify(ports, null, 2));
      else if (ports.length === 0) {
        console.log('No serial ports. Plug the glove in; a cable that only charges shows nothing.');
      } else for (const port of ports) console.log(portLine(port));
    });
}

/** One line for people: the path, then what a profile can name the port by, then what it calls itself. */
export function portLine(port: PortInfo & { heldBy?: readonly string[] }): string {
  const { path, vendor, product, serial, manufacturer, productName, stablePath, heldBy = [] } = port;
  const usb = [
    vendor && `vendor: "${vendor}"`,
    product && `product: "${product}"`,
    serial && `serial: ${JSON.stringify(serial)}`,
  ].filter(Boolean);
  const parts = [
    path,
    usb.length > 0 ? `usb: { ${usb.join(', ')} }` : '',
    [manufacturer, productName].filter(Boolean).join(' '),
    stablePath ?? '',
    heldBy.length > 0 ? `held by ${heldBy.join(' and ')}` : '',
  ];
  // Names come from the device: they may not steer the terminal.
  return parts.filter(Boolean).join('  ').replace(/\p{C}/gu, '?');
}
