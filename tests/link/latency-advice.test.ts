import { expect, it } from 'vitest';
import { latencyAdvice } from '../../src/link/latency-advice.js';

it('tells each system how to shorten the latency timer, in one line', () => {
  const linux = latencyAdvice(15.7, '/dev/ttyUSB3', 'linux');
  expect(linux).toContain('every 16 ms');
  expect(linux).toContain('/sys/bus/usb-serial/devices/ttyUSB3/latency_timer');
  expect(linux).toContain('setserial /dev/ttyUSB3 low_latency');
  expect(latencyAdvice(16, '/dev/serial/by-id/x', 'linux')).toContain(
    'setserial /dev/serial/by-id/x low_latency',
  );
  // Neither a board's own USB nor a terminal of this computer has such a timer.
  for (const path of ['/dev/ttyACM0', '/dev/pts/4', '/tmp/tty0']) {
    const advice = latencyAdvice(16, path, 'linux');
    expect(advice).toContain('too busy');
    expect(advice).not.toMatch(/adapter|ttyUSB|sudo/);
  }
  expect(latencyAdvice(16, 'COM4', 'win32')).toContain('COM4');
  expect(latencyAdvice(16, '/dev/cu.usbserial-1', 'darwin')).toContain('driver');
  for (const platform of ['linux', 'win32', 'darwin', 'freebsd'] as const)
    expect(latencyAdvice(16, 'COM4', platform)).not.toContain('\n');
});
