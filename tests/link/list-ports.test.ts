import { mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { afterEach, describe, expect, it } from 'vitest';
import { describePort, listPorts } from '../../src/link/list-ports.js';

const roots: string[] = [];
afterEach(() => {
  for (const root of roots.splice(0)) rmSync(root, { recursive: true });
});

/** A sysfs and /dev laid out as Linux lays them out. */
function machine() {
  const root = mkdtempSync(join(tmpdir(), 'ports-'));
  roots.push(root);
  const put = (path: string, content: string) => {
    mkdirSync(dirname(join(root, path)), { recursive: true });
    writeFileSync(join(root, path), content);
  };
  const link = (path: string, target: string) => {
    mkdirSync(dirname(join(root, path)), { recursive: true });
    mkdirSync(join(root, target), { recursive: true });
    symlinkSync(join(root, target), join(root, path));
  };
  mkdirSync(join(root, 'sys/class/tty'), { recursive: true });
  const list = () =>
    listPorts({ platform: 'linux', sysRoot: join(root, 'sys'), devRoot: join(root, 'dev') }).then((ports) =>
      ports.map((port) => JSON.parse(JSON.stringify(port).replaceAll(root, ''))),
    );
  return { put, link, list };
}

describe('list of ports', () => {
  it('is empty where there is none', async () => {
    expect(await machine().list()).toEqual([]);
    expect(await listPorts({ platform: 'linux', sysRoot: '/nowhere', devRoot: '/nowhere' })).toEqual([]);
  });

  it('tells the USB identity from the device above the port, and its stable name', async () => {
    const { put, link, list } = machine();
    const usb = 'sys/devices/pci0000:00/usb1/1-2';
    put(`${usb}/idVendor`, '12AB\n');
    put(`${usb}/idProduct`, '0042\n');
    put(`${usb}/serial`, 'A1B2\n');
    put(`${usb}/manufacturer`, 'Garden Shed Works\n');
    put(`${usb}/product`, 'Glove Board\n');
    // A USB adapter has one level more (ttyUSB0) than a board with its own USB (ttyACM0).
    link('sys/class/tty/ttyUSB10/device', `${usb}/1-2:1.0/ttyUSB10`);
    link('sys/class/tty/ttyACM2/device', `${usb}/1-2:1.2`);
    put('dev/ttyACM2', '');
    mkdirSync(join(roots[0], 'dev/serial/by-id'), { recursive: true });
    symlinkSync('../../ttyACM2', join(roots[0], 'dev/serial/by-id/usb-Garden_Shed_Works_A1B2-if02'));
    const identity = {
      vendor: '12ab',
      product: '0042',
      serial: 'A1B2',
      manufacturer: 'Garden Shed Works',
      productName: 'Glove Board',
    };
    expect(await list()).toEqual([
      {
        path: '/dev/ttyACM2',
        ...identity,
        stablePath: '/dev/serial/by-id/usb-Garden_Shed_Works_A1B2-if02',
      },
      { path: '/dev/ttyUSB10', ...identity },
    ]);
  });

  it('passes over consoles, pseudo-terminals and UARTs that are not there', async () => {
    const { put, link, list } = machine();
    put('sys/class/tty/tty0/dev', '4:0');
    put('sys/class/tty/ptmx/dev', '5:2');
    link('sys/class/tty/ttyS0/device', 'sys/devices/platform/serial8250');
    put('sys/class/tty/ttyS0/type', '0\n');
    link('sys/class/tty/ttyS1/device', 'sys/devices/pnp0/00:05');
    put('sys/class/tty/ttyS1/type', '4\n');
    expect(await list()).toEqual([{ path: '/dev/ttyS1' }]);
  });

  it('puts USB first and numbers in order', async () => {
    const { put, link, list } = machine();
    for (const name of ['ttyUSB10', 'ttyUSB2']) {
      const usb = `sys/devices/usb1/${name}-device`;
      put(`${usb}/idVendor`, '12ab');
      put(`${usb}/idProduct`, '0001');
      link(`sys/class/tty/${name}/device`, `${usb}/interface`);
    }
    link('sys/class/tty/ttyAMA0/device', 'sys/devices/platform/uart');
    expect((await list()).map(({ path }) => path)).toEqual(['/dev/ttyUSB2', '/dev/ttyUSB10', '/dev/ttyAMA0']);
  });

  it('describes a port for people', () => {
    expect(describePort({ path: 'COM3' })).toBe('COM3');
    expect(
      describePort({
        path: '/dev/ttyACM0',
        vendor: '12ab',
        product: '0042',
        serial: 'A1',
        productName: 'Board',
      }),
    ).toBe('/dev/ttyACM0 (Board, USB 12ab:0042 A1)');
  });
});
