import { describe, expect, it } from 'vitest';
import { explainOpenFailure, type Surroundings } from '../../src/link/port-errors.js';

const explain = (words: string, around: Partial<Surroundings> = {}) =>
  explainOpenFailure('/dev/ttyUSB0', new Error(words), {
    platform: 'linux',
    listPorts: async () => [],
    holders: async () => [],
    groupOf: async () => undefined,
    ...around,
  });

// The words are those of serialport's binding: strerror on Linux and macOS, its own on Windows.
describe('a port that does not open', () => {
  it('is missing: lists those that exist', async () => {
    const listPorts = async () => [{ path: '/dev/ttyACM0', vendor: '12ab', product: '0042' }];
    const error = await explain('Error: No such file or directory, cannot open /dev/ttyUSB0', { listPorts });
    expect(error).toMatchObject({ code: 'portMissing', message: '/dev/ttyUSB0 does not exist.' });
    expect(error.remedy).toBe('Ports here: /dev/ttyACM0 (USB 12ab:0042).');
    expect((await explain('Opening COM9: File not found', { platform: 'win32' })).code).toBe('portMissing');
  });

  it('is missing, with none at all: says what to check', async () => {
    expect((await explain('Error: No such device or address, cannot open x')).remedy).toMatch(
      /cable.*driver/,
    );
  });

  it('is busy: names the holder when it can be known', async () => {
    const holders = async () => ['picocom (process 4711)'];
    const locked = await explain('Error Resource temporarily unavailable Cannot lock port', { holders });
    expect(locked).toMatchObject({
      code: 'portBusy',
      message: '/dev/ttyUSB0 is held by picocom (process 4711).',
    });
    const busy = await explain('Error: Device or resource busy, cannot open /dev/ttyUSB0');
    expect(busy).toMatchObject({ code: 'portBusy', message: '/dev/ttyUSB0 is held by another program.' });
    expect((await explain('Opening COM3: Access denied', { platform: 'win32' })).code).toBe('portBusy');
  });

  it.each(['dialout', 'uucp'])('is denied: gives the command to join %s', async (group) => {
    const error = await explain('Error: Permission denied, cannot open /dev/ttyUSB0', {
      groupOf: async () => group,
    });
    expect(error).toMatchObject({ code: 'portDenied', message: 'No permission to open /dev/ttyUSB0.' });
    expect(error.remedy).toContain(`usermod -aG ${group} "$USER"`);
  });

  it('is denied to all but root: does not advise to join root', async () => {
    const error = await explain('EACCES: permission denied', { groupOf: async () => 'root' });
    expect(error.code).toBe('portDenied');
    expect(error.remedy).not.toContain('usermod');
  });

  it('is no serial port', async () => {
    const error = await explain('Error: Inappropriate ioctl for device setting custom baud rate of 115200');
    expect(error).toMatchObject({ code: 'portFailed', message: '/dev/ttyUSB0 is not a serial port.' });
  });

  it('fails for another reason: says which', async () => {
    const error = await explain('Error: Input/output error, cannot open /dev/ttyUSB0');
    expect(error.code).toBe('portFailed');
    expect(error.line).toContain('Input/output error');
  });
});
