import { afterEach, expect, test } from 'vitest';
import { STOP_MAX } from '../../src/protocol/link-table.js';
import { type FigureName, SIZING_DEFAULTS, sizeGlove } from '../../src/sensing/sizing.js';
import { type Body, startHostGlove } from './host-glove.js';
import { Host } from './host-port.js';

/*
 * What sizing says of a glove, against what the physical model of one does (servo_physics.h, finger_physics.h), within
 * five per cent. Nothing of the model's constants goes into it but what a maker reads off a data sheet or a ruler: torque,
 * and the radius of the spool. Where a string is, how hard it pulls and how fast it runs is measured at the finger.
 */

const SPOOL_MM = 17;
const TORQUE_NM = 0.15;
const sized = (servoS60: number) => {
  const { figures } = sizeGlove({
    ...SIZING_DEFAULTS,
    servoRadiusMm: SPOOL_MM,
    servoTorqueNm: TORQUE_NM,
    servoS60,
  });
  return (name: FigureName) => figures.find((figure) => figure.name === name)!.value;
};
const of = sized(0.12);
function expectWithin5(measured: number, said: number): void {
  console.log(`measured ${measured.toFixed(2)}, said ${said.toFixed(2)}`);
  expect(Math.abs(measured / said - 1), `${measured} of ${said}`).toBeLessThan(0.05);
}

const cleanups: (() => Promise<unknown> | unknown)[] = [];
afterEach(async () => {
  for (const cleanup of cleanups.splice(0).reverse()) await cleanup();
});

async function start() {
  const glove = await startHostGlove(['--physics', '--manual-time', '--noise', '0']);
  cleanups.push(() => glove.quit());
  const host = await Host.open(glove.pty);
  cleanups.push(() => host.close());
  // The rated voltage, from a supply that does not sag.
  await glove.command('supply 4.8 0.001');
  const command = (stop: number) =>
    host.send(
      host.codec.resist(
        1000,
        new Uint16Array(5).fill(Math.round(stop * STOP_MAX)),
        new Uint8Array(5).fill(255),
        5,
      ),
    );
  const index = () => glove.ask<Body>('body index');
  const hold = async (stop: number, ms: number) => {
    for (let left = ms; left > 0; left -= 100) {
      await command(stop);
      await glove.command(`advance ${Math.min(100, left)}`);
    }
  };
  return { glove, command, index, hold };
}

/** Degrees of the servo, and curl of the finger, when its string just tautens as it is wound in. */
async function tautAt({ glove, index, hold }: Awaited<ReturnType<typeof start>>, curl: number) {
  await glove.command(`intend index ${curl} 3`);
  await hold(1, 1500);
  for (let stop = 1; stop >= 0; stop -= 0.01) {
    await hold(stop, 60);
    const { tensionN, servoDeg, curl: at } = await index();
    if (tensionN > 0.4) return { servoDeg, curl: at };
  }
  throw new Error('the string never tautens');
}

test('the travel of the string, and the swing of the servo for it', async () => {
  const rig = await start();
  const open = await tautAt(rig, 0.15);
  const closed = await tautAt(rig, 0.85);
  const swing = Math.abs(closed.servoDeg - open.servoDeg) / (closed.curl - open.curl);
  expectWithin5(swing, of('servoSwing'));
  expectWithin5((swing * Math.PI * SPOOL_MM) / 180, of('excursion'));
});

/** s for 60 degrees in the middle of a long way with a slack string: as a data sheet has it. */
async function timeOf60({ glove, command, index, hold }: Awaited<ReturnType<typeof start>>): Promise<number> {
  await glove.command('slack 100');
  await hold(0, 1500);
  const { servoDeg: first } = await index();
  await command(1);
  let from = Number.NaN;
  for (let ms = 0; ms < 800; ms += 2) {
    await glove.command('advance 2');
    const way = Math.abs((await index()).servoDeg - first);
    if (Number.isNaN(from) && way >= 20) from = ms;
    if (way >= 80) return (ms - from) / 1000;
  }
  throw new Error('the servo does not turn by 80 degrees');
}

test('the speed of the string, from the time for 60 degrees: it draws a limp finger open', async () => {
  const said = sized(await timeOf60(await start()));
  const { glove, command, index, hold } = await start();
  await glove.command('intend index 1 10');
  await hold(1, 1500);
  await glove.command('strength 0.05');
  await command(0);
  const passed: { ms: number; curl: number }[] = [];
  for (let ms = 0; ms < 800; ms += 2) {
    await glove.command('advance 2');
    const { curl } = await index();
    if (curl <= 0.75) passed.push({ ms, curl });
    if (curl < 0.25) break;
  }
  const [first, last] = [passed[0], passed.at(-1)!];
  const curlPerS = (1000 * (first.curl - last.curl)) / (last.ms - first.ms);
  expectWithin5(curlPerS, said('closingSpeed'));
  expectWithin5(curlPerS * of('excursion'), said('stringSpeed'));
});

test('the tension at which it stalls: between what moves it backwards and what it still pulls', async () => {
  const { glove, index, hold } = await start();
  // Muscles pull a little harder each time, until the servo yields to them.
  await hold(0.3, 500);
  let yields = Number.NaN;
  const { servoDeg: held } = await index();
  for (let strength = 5; strength < 15 && Number.isNaN(yields); strength += 0.2) {
    await glove.command(`strength ${strength}`);
    await glove.command('intend index 1 2');
    await hold(0.3, 200);
    const { servoDeg, tensionN } = await index();
    if (Math.abs(servoDeg - held) > 6) yields = tensionN;
  }
  // And now it winds in against muscles that let it in the end.
  await glove.command('strength 15');
  await hold(1, 1500);
  await glove.command('intend index 0.8 2');
  await hold(1, 1000);
  await hold(0, 300);
  let pulls = Number.NaN;
  for (let strength = 15; strength > 4 && Number.isNaN(pulls); strength -= 0.2) {
    await glove.command(`strength ${strength}`);
    const { servoDeg: before } = await index();
    await hold(0, 200);
    const { servoDeg, tensionN } = await index();
    if (Math.abs(servoDeg - before) > 3) pulls = tensionN;
  }
  // The friction of its gears helps it one way and hinders it the other.
  console.log(`yields at ${yields.toFixed(2)} N, still pulls with ${pulls.toFixed(2)} N`);
  expect(yields).toBeGreaterThan(pulls);
  expectWithin5((yields + pulls) / 2, of('stallTension'));
});
