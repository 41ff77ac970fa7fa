import { Ajv } from 'ajv';
import { pino } from 'pino';
import { type Profile, ProfileSchema } from '../../src/config/schema.js';
import { createGlove } from '../../src/glove.js';
import { FINGERS, type HandSide } from '../../src/hand/joints.js';
import type { Link, LinkEvents } from '../../src/link/link.js';
import { type Body, startHostGlove } from '../firmware/host-glove.js';
import { FakeClock } from '../link/fake-clock.js';
import { PHYSICAL_ACTUATOR, PHYSICAL_SAFETY, type TouchBench } from './touch-trials.js';

/** Bytes go over once in this time; what happens within it is heard at its end. */
const STEP_MS = 1;

/**
 * The service's whole chain for a glove and the real firmware, with time turned by hand: the same on every machine,
 * however busy. `latencyMs` is added each way, for a line and a radio that take their time.
 */
export async function startSteadyBench(
  side: HandSide,
  gloveArgs: readonly string[] = [],
  strengthN = 5,
  latencyMs = 3,
): Promise<TouchBench> {
  const channels = FINGERS.map((finger) => `${finger}.curl`).join(',');
  const device = await startHostGlove([
    ...['--physics', '--manual-time', '--hand', side, '--channels', channels],
    ...gloveArgs,
  ]);
  await device.command(`strength ${strengthN}`);

  const clock = new FakeClock();
  const startUs = clock.nowUs();
  let events: LinkEvents | undefined;
  const toGlove: { atUs: number; hex: string }[] = [];
  const toHost: { atUs: number; bytes: Buffer }[] = [];
  const link: Link = {
    status: { state: 'live', address: 'host glove' },
    open(listener) {
      events = listener;
      events.status(link.status);
    },
    write(bytes) {
      toGlove.push({ atUs: clock.nowUs() + 1000 * latencyMs, hex: Buffer.from(bytes).toString('hex') });
      return true;
    },
    close: async () => {},
  };
  const profile = profileOf(side);
  const glove = createGlove({
    profile,
    glove: profile.gloves[0],
    link,
    clock,
    logger: pino({ level: 'silent' }),
  });

  const step = async (ms: number): Promise<void> => {
    let hex = '';
    while (toGlove.length > 0 && toGlove[0].atUs <= clock.nowUs()) hex += toGlove.shift()!.hex;
    const answer = await device.command(`exchange ${ms} ${hex}`);
    await clock.advance(ms);
    const sent = Buffer.from(answer.slice('bytes '.length), 'hex');
    if (sent.length > 0) toHost.push({ atUs: clock.nowUs() + 1000 * latencyMs, bytes: sent });
    while (toHost.length > 0 && toHost[0].atUs <= clock.nowUs()) {
      events?.bytes(toHost.shift()!.bytes, clock.nowUs());
    }
  };
  const wait = async (ms: number): Promise<void> => {
    for (let left = Math.max(ms, STEP_MS); left > 1e-9; left -= STEP_MS) await step(Math.min(STEP_MS, left));
  };

  glove.start();
  while (!glove.frame.valid) await wait(STEP_MS);
  glove.arm('wearer');

  return {
    side,
    nowMs: () => clock.nowUs() / 1000,
    deviceMs: (deviceUs) => (startUs + deviceUs) / 1000,
    wait,
    touch(request) {
      const refusal = glove.touch('app', request);
      if (refusal) throw new Error(refusal.message);
    },
    release: () => glove.release('app'),
    command: device.command,
    bodies: () => device.ask<Body[]>('bodies'),
    interruption: () => undefined,
    async end() {
      await glove.close();
      await device.quit();
    },
  };
}

function profileOf(hand: HandSide): Profile {
  const profile: unknown = {
    profile: 1,
    safety: PHYSICAL_SAFETY,
    gloves: [
      {
        name: 'host glove',
        hand,
        link: { kind: 'serial', path: 'none' },
        channels: FINGERS.map((finger) => ({ role: `${finger}.curl`, open: 491, closed: 3604 })),
        actuators: FINGERS.map((finger) => ({ role: finger, ...PHYSICAL_ACTUATOR })),
      },
    ],
  };
  const ajv = new Ajv({ useDefaults: true, discriminator: true, strict: false });
  if (!ajv.validate(ProfileSchema, profile)) throw new Error(ajv.errorsText());
  return profile as Profile;
}
