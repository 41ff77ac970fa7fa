import { afterEach, describe, expect, it } from 'vitest';
import type { LinkProfile } from '../../src/config/schema.js';
import type { Hello } from '../../src/link/codec.js';
import { createFrameCodec } from '../../src/link/frames.js';
import type { Link } from '../../src/link/link.js';
import type { PortInfo } from '../../src/link/list-ports.js';
import { openLink } from '../../src/link/open-link.js';
import { FakeClock } from './fake-clock.js';

const serial = (more: object): LinkProfile => ({ kind: 'serial', baud: 115200, silentMs: 1000, ...more });
const links: Link[] = [];
afterEach(async () => {
  await Promise.all(links.splice(0).map((link) => link.close()));
});

/** The first failure of a serial link on a machine with these ports. */
async function failureOf(profile: LinkProfile, ports: PortInfo[]) {
  const link = openLink(profile, { hand: 'left', listPorts: async () => ports });
  links.push(link);
  return new Promise((resolve) => {
    link.open({ bytes: () => {}, status: ({ error }) => error && resolve(error) });
  });
}

describe('openLink', () => {
  it('opens a simulated glove of the hand and rate asked for', async () => {
    const clock = new FakeClock();
    const hellos: Hello[] = [];
    let samples = 0;
    const codec = createFrameCodec({
      hello: (hello) => hellos.push(hello),
      samples: () => samples++,
      state: () => {},
      pong: () => {},
      note: () => {},
    });
    const link = openLink({ kind: 'simulated', sampleRateHz: 250, seed: 3 }, { hand: 'left', clock });
    links.push(link);
    link.open({ bytes: codec.push, status: () => {} });
    await clock.advance(1000);
    expect(link.status).toEqual({ state: 'live', address: 'simulated left glove', simulated: true });
    expect(hellos).toMatchObject([{ hand: 'left', sampleRateHz: 250 }]);
    expect(samples).toBeGreaterThanOrEqual(250);
    expect(samples).toBeLessThanOrEqual(251);
  });

  it('looks for a Bluetooth glove by the name of its hand, unless told another', () => {
    const addressOf = (more: object) =>
      openLink({ kind: 'ble', silentMs: 2000, ...more }, { hand: 'left' }).status.address;
    expect(addressOf({})).toBe('Bluetooth Tautline left');
    expect(addressOf({ name: 'mine' })).toBe('Bluetooth mine');
    expect(addressOf({ name: 'mine', address: '02:00:00:00:00:01' })).toBe('Bluetooth 02:00:00:00:00:01');
  });

  it('finds a port by its USB identity, whatever its number', async () => {
    const ports: PortInfo[] = [
      { path: '/dev/nowhere1', vendor: '12ab', product: '0001', serial: 'L' },
      { path: '/dev/nowhere2', vendor: '12ab', product: '0001', serial: 'R' },
      { path: '/dev/nowhere3' },
    ];
    // The port that was chosen does not exist here: its name in the failure tells which it was.
    expect(await failureOf(serial({ usb: { vendor: '12AB', serial: 'R' } }), ports)).toMatchObject({
      code: 'portMissing',
      message: '/dev/nowhere2 does not exist.',
    });
    expect(await failureOf(serial({ usb: { serial: 'X' } }), ports)).toMatchObject({
      code: 'portMissing',
      message: 'No serial port is USB serial X.',
    });
    // Two fit: each is asked.
    expect(await failureOf(serial({ usb: { vendor: '12ab' } }), ports)).toMatchObject({
      code: 'portMissing',
      message:
        'No left glove answers on the ports that are USB vendor 12ab. ' +
        '/dev/nowhere1 (USB 12ab:0001 L): /dev/nowhere1 does not exist; ' +
        '/dev/nowhere2 (USB 12ab:0001 R): /dev/nowhere2 does not exist.',
    });
  });
});
