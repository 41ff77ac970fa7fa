import { afterEach, expect, it } from 'vitest';
import type { ServerMessageOf } from '../../src/protocol/messages.js';
import type { App } from '../stream/app.js';
import { startServiceProcess, stopAllServices } from './service.js';

afterEach(stopAllServices);

const SECONDS = 4;

/** The simulated glove samples at 500 Hz, so nobody gets more. */
it.each([
  ['tautline.json.v1', [60, 90, 120, 500, 1000, undefined]],
  ['tautline.binary.v1', [60, 90, 120, 500, 1000, undefined]],
] as const)('gives every app the rate it asked for: %s', async (protocol, asked) => {
  const service = await startServiceProcess();
  const apps = await Promise.all(asked.map(() => service.connect(protocol)));
  // The glove's first hello says its rate.
  await apps[0].until((m) => m.type === 'welcome' && m.hands[0].sampleRateHz === 500);

  await Promise.all(
    apps.map(async (app, n) => {
      const rateHz = asked[n];
      const ack = await app.ask({ type: 'subscribe', streams: ['joints'], ...(rateHz ? { rateHz } : {}) });
      const granted = Math.min(rateHz ?? 500, 500);
      expect(ack).toMatchObject({ type: 'ack', rateHz: granted });
      await app.reached(() => poses(app).length >= granted * SECONDS);

      const got = poses(app).slice(0, granted * SECONDS);
      for (let i = 1; i < got.length; i++) {
        expect(got[i].seq - got[i - 1].seq).toBe(1);
        expect(got[i].timeUs).toBeGreaterThan(got[i - 1].timeUs);
      }
      // By the times of the samples: what this busy machine does to delivery says nothing about the rate.
      const seconds = (got[got.length - 1].timeUs - got[0].timeUs) / 1e6;
      const rate = (got.length - 1) / seconds;
      expect(Math.abs(rate - granted) / granted).toBeLessThan(0.02);
    }),
  );
  await service.stop();
});

function poses(app: App): { seq: number; timeUs: number }[] {
  return app.records.length > 0
    ? app.records
    : app.messages.filter((m): m is ServerMessageOf<'joints'> => m.type === 'joints');
}
