import { afterEach, expect, test } from 'vitest';
import { STOP_MAX } from '../../src/protocol/link-table.js';
import { type FigureName, SIZING_DEFAULTS, sizeGlove } from '../../src/sensing/sizing.js';
import { type Body, startHostGlove } from './host-glove.js';
import { Host } from './host-port.js';

/*
 * What sizing says of the parts of the physical model (servo_physics.h, finger_physics.h), against what the model does:
 * within five per cent.
 */

const SPOOL_MM = 17;
const GEAR_FRICTION_NM = 0.015;
const { figures } = sizeGlove({
  ...SIZING_DEFAULTS,
  servoRadiusMm: SPOOL_MM,
  servoTorqueNm: 0.15,
  servoS60: 0.12,
});
const of = (name: FigureName) => figures.find((figure) => figure.name === name)!.value;
const within5 = (measured: number, said: number) => Math.abs(measured / said - 1) < 0.05;

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

test('the swing of the servo and the travel of the string', async () => {
  const { index, hold } = await start();
  await hold(0, 1500);
  const { servoDeg: atOpen } = await index();
  await hold(1, 1500);
  const { servoDeg: atClosed } = await index();
  const swing = Math.abs(atClosed - atOpen);
  expect(within5(swing, of('servoSwing')), `${swing} of ${of('servoSwing')}`).toBe(true);
  expect(within5((swing * Math.PI * SPOOL_MM) / 180, of('excursion'))).toBe(true);
});

test('the speed of the string', async () => {
  const { glove, command, index, hold } = await start();
  await hold(0, 1500);
  let last = (await index()).servoDeg;
  let fastest = 0;
  await command(1);
  for (let ms = 0; ms < 400; ms += 20) {
    await glove.command('advance 20');
    const { servoDeg } = await index();
    fastest = Math.max(fastest, Math.abs(servoDeg - last) / 0.02);
    last = servoDeg;
  }
  const mmPerS = (fastest * Math.PI * SPOOL_MM) / 180;
  // A data sheet's time has the friction of the gears in it; the model's motor loses that part of its speed to them.
  const said = of('stringSpeed') * (1 - GEAR_FRICTION_NM / 0.15);
  expect(within5(mmPerS, said), `${mmPerS} of ${said}`).toBe(true);
});

test('the tension at which it gives way, but for the friction of its gears', async () => {
  const { glove, index, hold } = await start();
  await hold(0.3, 500);
  // Muscles pull a little harder each time, until the servo yields to them.
  let gaveWay = Number.NaN;
  const { servoDeg: held } = await index();
  for (let strength = 5; strength < 15 && Number.isNaN(gaveWay); strength += 0.2) {
    await glove.command(`strength ${strength}`);
    await glove.command('intend index 1 2');
    await hold(0.3, 200);
    const { servoDeg, tensionN } = await index();
    if (Math.abs(servoDeg - held) > 6) gaveWay = tensionN;
  }
  const said = of('stallTension') + GEAR_FRICTION_NM / (SPOOL_MM / 1000);
  expect(within5(gaveWay, said), `${gaveWay} of ${said}`).toBe(true);
});
