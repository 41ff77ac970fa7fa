import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { type Rig, startRig, WAYS } from './letting-go-rig.js';

/*
 * Nothing that apps send delays letting go: every way, while 64 connections ask for all that they may, by the clock of
 * our firmware. The flood runs at the lowest priority, for on a machine of two cores it would take the service's time
 * besides its attention. scripts/letting-go.ts does the same more often, and prints how long it took.
 */
describe('with 64 connections that ask all they may, for hulls, boxes and what is not known', () => {
  const WITHIN_MS = 300;
  const CONNECTIONS = 64;
  const PER_S = 2000;
  const TIMES = 3;
  const COMERS = 10;
  let rig: Rig;
  afterAll(() => rig?.end());

  for (const [reach, byApp] of [
    ['near', false],
    ['far', true],
  ] as const) {
    // Where it is an app that fails, nobody else may hold a finger: what the flood touches is out of reach.
    describe(byApp ? 'out of reach' : 'at the hand', () => {
      beforeAll(async () => {
        await rig?.end();
        rig = await startRig();
        await fetch(`http://127.0.0.1:${rig.service.port}/health`);
        await rig.hold();
        await rig.flood(CONNECTIONS, PER_S, reach);
      });

      const ways = Object.entries(WAYS).filter(([, way]) => (way.byApp ?? false) === byApp);
      it.each(ways)('fingers are free for good within 300 ms: %s', async (_, { fails, after }) => {
        for (let n = 0; n < TIMES; n++) {
          await rig.hold();
          const { tookMs } = await rig.release(fails);
          expect(tookMs).toBeLessThan(WITHIN_MS);
          await after?.(rig);
        }
      });

      // One new connection is taken at a time: the command's is behind those that come and go.
      it.skipIf(byApp)('the same for `tautline disarm` while connections come and go besides', async () => {
        const comers = await rig.comers(COMERS);
        for (let n = 0; n < TIMES; n++) {
          await rig.hold();
          expect((await rig.release(WAYS['`tautline disarm`'].fails)).tookMs).toBeLessThan(WITHIN_MS);
        }
        comers.process.kill('SIGKILL');
      });
    });
  }
});
