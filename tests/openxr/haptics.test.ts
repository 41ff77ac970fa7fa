import { expect, it } from 'vitest';
import type { Driver } from './driver.js';
import { pause } from './peer.js';
import { endWell, FULL, HANDS, input, SIDES, SIMPLE, useRig } from './rig.js';

const rig = useRig();

async function open(profile = FULL): Promise<Driver> {
  const app = rig.start();
  await app.world(`controller right ${profile}`);
  await app.open();
  for (const side of SIDES) rig.peer.wear(side);
  await rig.peer.subscribed();
  await app.do('set game 0', 'action game buzz haptic left right', 'action game other haptic left right');
  const outputs = SIDES.map((side) => `buzz /user/hand/${side}/output/haptic`);
  await app.do(`suggest ${profile} ${outputs.join(' ')}`, 'attach game', 'sync game');
  return app;
}

/** Resolves when the peer has so many pulses. */
async function pulses(count: number) {
  for (let i = 0; i < 400 && rig.peer.pulses().length < count; i++) await pause(5);
  return rig.peer.pulses();
}

it('reach the controller as ever, and the glove of the hand as a pulse', async () => {
  const app = await open();
  await app.do('vibrate buzz right 0.75 60000000 180.4');
  expect(await pulses(1)).toMatchObject([
    { type: 'pulse', hand: 'right', amplitude: 0.75, durationMs: 60, frequencyHz: 180 },
  ]);
  expect(await app.world('haptics right')).toMatch(/^1 0 0\.75/);
  // Both hands, the shortest there is, at the frequency that the glove likes.
  await app.do('vibrate buzz any 1 -1 0');
  const both = (await pulses(3)).slice(1);
  expect(both.map(({ hand }) => hand).sort()).toEqual(['left', 'right']);
  for (const pulse of both) {
    expect(pulse).toMatchObject({ amplitude: 1, durationMs: 30 });
    expect(pulse).not.toHaveProperty('frequencyHz');
  }
  await pause(30);
  await app.do('vibrate buzz left 0.5 999000000000 5000');
  expect((await pulses(4))[3]).toMatchObject({ hand: 'left', durationMs: 2000, frequencyHz: 1000 });
  await pause(30);
  await app.do('still buzz left');
  expect((await pulses(5))[4]).toMatchObject({ hand: 'left', amplitude: 0, durationMs: 0 });
  // An action that is bound to no output, and no strength at all.
  await app.do('vibrate other right 1 50000000 0', 'vibrate buzz right 0 50000000 0');
  await pause(40);
  expect(rig.peer.pulses()).toHaveLength(5);
  await endWell(app);
});

it('of every frame are told some fifty times a second, the newest last, and without a gap between', async () => {
  const app = await open();
  const begun = performance.now();
  let amplitude = 0;
  for (let i = 0; i < 200; i++) {
    amplitude = 0.1 + (i % 90) / 100;
    await app.do(`vibrate buzz right ${amplitude} 11000000 0`);
    await pause(1);
  }
  const lastedMs = performance.now() - begun;
  await pause(60);
  const all = rig.peer.pulses();
  expect(all.length).toBeLessThanOrEqual(lastedMs / 20 + 2);
  expect(all.length).toBeGreaterThan(2);
  expect(all.at(-1)!.amplitude).toBeCloseTo(amplitude, 3);
  for (const { durationMs } of all) expect(durationMs).toBeGreaterThan(20);
  await endWell(app);
});

it('go to the hand of an application that knows no controllers but hands', async () => {
  const app = rig.start();
  await app.open('XR_EXT_hand_interaction');
  rig.peer.wear('right');
  await rig.peer.subscribed();
  await app.do('set game 0', 'action game buzz haptic left right', 'action game pinch float left right');
  await app.do(`suggest ${HANDS} pinch ${input('right', 'pinch_ext/value')}`);
  await app.do(`suggest ${SIMPLE} buzz /user/hand/right/output/haptic`, 'attach game', 'sync game');
  expect((await app.do('profile right')).profile).toBe(HANDS);
  await app.do('vibrate buzz right 0.5 20000000 0');
  expect(await pulses(1)).toMatchObject([{ hand: 'right', amplitude: 0.5 }]);
  await endWell(app);
});

it('take no time of the application’s, whatever the service does', async () => {
  const app = await open();
  // A peer that reads nothing any more: what is sent to it piles up, within bounds.
  for (const socket of rig.peer.sockets) socket.pause();
  const begun = performance.now();
  for (let i = 0; i < 300; i++) await app.do('vibrate buzz any 1 11000000 0');
  expect(performance.now() - begun).toBeLessThan(3000);
  for (const socket of rig.peer.sockets) socket.resume();
  await endWell(app);
});
