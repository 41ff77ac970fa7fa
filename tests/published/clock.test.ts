import { expect, it } from 'vitest';
import { createClock } from '../../src/link/time-sync.js';

/**
 * RFC 5905 (NTPv4, 2010), section 8: of the four times of an exchange, T1 sent by the client, T2 received and T3
 * answered by the server, T4 received by the client,
 *
 *   theta = 1/2 [(T2 - T1) + (T3 - T4)]    offset of the server's clock against the client's
 *   delta = (T4 - T1) - (T3 - T2)          round trip
 *
 * Here the glove is the server, and it answers at once: T2 = T3.
 */
const exchange = (t1: number, t2: number, t3: number, t4: number) => ({
  theta: 0.5 * (t2 - t1 + (t3 - t4)),
  delta: t4 - t1 - (t3 - t2),
});

it('offset and round trip are those of RFC 5905 when both ways take the same time', () => {
  const wayUs = 1500;
  const deviceIsBehindUs = 123_456_789;
  const clock = createClock();
  for (let i = 0; i < 2000; i++) {
    const takenUs = 200e6 + 4000 * i;
    clock.map(takenUs - deviceIsBehindUs, takenUs + wayUs);
    if (i % 250 !== 100) continue;
    const t1 = takenUs + 100;
    const stamp = t1 + wayUs - deviceIsBehindUs;
    const t4 = t1 + 2 * wayUs + (i % 500 === 100 ? 0 : 9000);
    clock.pong(t1, stamp, t4);
    // A delayed answer shows in that exchange, but not in the least round trip.
    const { theta, delta } = exchange(t1, stamp, stamp, t4);
    expect(theta).toBeCloseTo(-deviceIsBehindUs - (t4 - t1 - 2 * wayUs) / 2, 6);
    expect(clock.status.roundTripUs).toBeLessThanOrEqual(delta);
  }
  const least = exchange(0, wayUs - deviceIsBehindUs, wayUs - deviceIsBehindUs, 2 * wayUs);
  expect(clock.status.roundTripUs).toBeCloseTo(least.delta, 6);
  // The host's clock less the device's is -theta; the mapped time keeps the least delay of the way in it.
  expect(clock.status.offsetUs - clock.status.roundTripUs! / 2).toBeCloseTo(-least.theta, 3);
});
