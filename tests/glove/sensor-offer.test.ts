import Fastify from 'fastify';
import { expect, it, onTestFinished } from 'vitest';
import { openFits } from '../../src/config/fit-file.js';
import type { LiveGlove } from '../../src/glove/glove.js';
import { addGuideRoutes } from '../../src/glove/guide-routes.js';
import type { MountReport } from '../../src/guide/report.js';

const fitted = (role: 'index.curl' | 'ring.curl', open: number) => ({
  role,
  bits: 12,
  open,
  closed: open + 2800,
  residualDeg: 2,
  poses: 3,
});

it('sensors that a fit of the mount found to be off are corrected only when asked, and undone alone', async () => {
  const fits = openFits(undefined);
  const earlier = { savedAt: '2026-01-02T03:04:05Z', person: 'Kim', glove: 'g', hand: 'right' as const };
  fits.add({ ...earlier, channels: [fitted('index.curl', 500), fitted('ring.curl', 520)], residualDeg: 2 });
  const mount: MountReport = {
    person: 'Kim',
    fitted: {
      mount: [0, 0, 0.1, 0, 0, 0, 1],
      by: 'touch',
      rotationDeg: 1.5,
      translationM: 0.003,
      residualM: 0.002,
      slipped: 0,
    },
    accepted: false,
    sensors: [{ ...fitted('index.curl', 380), offDeg: 9, poses: 1 }],
  };
  let refits = 0;
  const glove = {
    description: { hand: 'right', name: 'g', howToArm: 'press' },
    fits,
    get fitsInUse() {
      return fits.current('g', 'right');
    },
    feel: {},
    guide: { mount, otherLeader: () => undefined, read: () => ({ state: 'done', mount }) },
    refit: async () => void refits++,
  } as unknown as LiveGlove;
  const app = Fastify();
  addGuideRoutes(app, [glove]);
  onTestFinished(() => app.close());
  const post = async (url: string) => {
    const answer = await app.inject({ method: 'POST', url });
    return { status: answer.statusCode, ...answer.json() };
  };
  const openOf = (role: string) =>
    fits.current('g', 'right').channels?.channels?.find((one) => one.role === role)?.open;

  // Not before the mount is in use, and nothing else by that name.
  expect(await post('/guide/accept?part=sensors')).toMatchObject({ status: 409, code: 'notSupported' });
  expect(await post('/guide/accept?part=bones')).toMatchObject({ status: 400, code: 'usage' });
  expect(await post('/guide/accept')).toMatchObject({ status: 200, mount: { accepted: true } });
  expect(openOf('index.curl')).toBe(500);

  expect(await post('/guide/accept?part=sensors')).toMatchObject({ mount: { sensorsAccepted: true } });
  expect([openOf('index.curl'), openOf('ring.curl')]).toEqual([380, 520]);
  // Twice is once.
  await post('/guide/accept?part=sensors');
  expect(fits.entries).toHaveLength(3);
  expect(refits).toBe(2);

  // They are offered again, and the mount stays as it is.
  expect(await post('/fits/undo')).toMatchObject({ status: 200 });
  expect(openOf('index.curl')).toBe(500);
  expect(fits.current('g', 'right').mount).toBeDefined();
  expect(mount).toMatchObject({ accepted: true, sensorsAccepted: false });
  expect(await post('/guide/accept?part=sensors')).toMatchObject({ mount: { sensorsAccepted: true } });
  expect(openOf('index.curl')).toBe(380);

  // So is the mount, once it is taken back.
  await post('/fits/undo');
  await post('/fits/undo');
  expect(fits.current('g', 'right').mount).toBeUndefined();
  expect(mount.accepted).toBe(false);
  await post('/guide/accept');
  expect(fits.current('g', 'right').mount).toBeDefined();
});
