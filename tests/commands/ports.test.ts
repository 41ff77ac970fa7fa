import { expect, it } from 'vitest';
import { portLine } from '../../src/commands/ports.js';

it('a port is shown as a profile names it', () => {
  expect(
    portLine({
      path: '/dev/ttyACM0',
      vendor: '1209',
      product: '0001',
      serial: 'A1',
      manufacturer: 'Workshop',
      productName: 'Glove\x1b[1m',
    }),
  ).toBe('/dev/ttyACM0  usb: { vendor: "1209", product: "0001", serial: "A1" }  Workshop Glove?[1m');
  expect(portLine({ path: 'COM3' })).toBe('COM3');
  expect(portLine({ path: '/dev/ttyS0', heldBy: ['monitor (process 7)', 'other (process 8)'] })).toBe(
    '/dev/ttyS0  held by monitor (process 7) and other (process 8)',
  );
});
