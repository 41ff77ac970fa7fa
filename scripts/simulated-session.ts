import { readFileSync } from 'node:fs';
import { setImmediate } from 'node:timers/promises';
import { parseProfile } from '../src/config/load.js';
import type { Profile } from '../src/config/schema.js';
import { createGlove, type LiveGlove } from '../src/glove/glove.js';
import type { HandSide } from '../src/hand/joints.js';
import type { LinkEvents } from '../src/link/link.js';
import { createSimulatedGlove, type SimulatedGlove } from '../src/link/simulated-glove.js';
import { type FileSink, type FileSinkOptions, openFileSink } from '../src/recording/file-sink.js';
import { startRecorder } from '../src/recording/recorder.js';

/** Records simulated gloves in simulated time, as fast as it goes: for benchmarks and long tests. */
export interface SimulatedRecording {
  file: string;
  seconds: number;
  rateHz: number;
  hands?: readonly HandSide[];
  joints?: boolean;
  maxSeconds?: number;
  maxBytes?: number;
  /** Called after each simulated minute. */
  minute?: (minute: number) => void;
  /** Whether nothing comes from the gloves at a time. */
  mute?: (seconds: number) => boolean;
  /** Called before the samples of each step: to act as an app. */
  each?: (seconds: number, gloves: readonly LiveGlove[]) => void;
  /** Left out: simulated time stands still while a file is created. */
  open?: (file: string, options: FileSinkOptions) => Promise<FileSink>;
}

const STEP_US = 4000;
const START_US = 1_000_000.125;

export function simulatedProfile(hands: readonly HandSide[] = ['right'], rateHz = 250): Profile {
  const file = 'config/simulated.yaml';
  const profile = parseProfile(readFileSync(file, 'utf8'), file);
  const [one] = profile.gloves;
  profile.gloves = hands.map((hand, i) => ({
    ...structuredClone(one),
    hand,
    name: `Simulated ${hand} glove`,
    link: { kind: 'simulated', sampleRateHz: rateHz, seed: i + 1 },
  }));
  return profile;
}

export async function recordSimulated(options: SimulatedRecording) {
  const { file, seconds, rateHz, hands = ['right'] } = options;
  const profile = simulatedProfile(hands, rateHz);
  let nowUs = START_US;
  let timers: { atUs: number; run: () => void }[] = [];
  const clock = {
    nowUs: () => nowUs,
    after(delayMs: number, run: () => void) {
      const timer = { atUs: nowUs + delayMs * 1000, run };
      timers.push(timer);
      return () => {
        timers = timers.filter((other) => other !== timer);
      };
    },
  };
  const devices: SimulatedGlove[] = [];
  const events: LinkEvents[] = [];
  const gloves = profile.gloves.map((glove, i) => {
    const device = createSimulatedGlove({
      hand: glove.hand,
      sampleRateHz: rateHz,
      seed: i + 1,
      startUs: START_US,
    });
    devices.push(device);
    const status = { state: 'live' as const, address: `simulated ${glove.hand} glove` };
    return createGlove({
      profile,
      glove,
      logger: silentLogger,
      clock,
      link: {
        status,
        open: (to) => void events.push(to),
        write(bytes) {
          device.receive(bytes, nowUs);
          return true;
        },
        close: async () => {},
      },
    });
  });
  let opening = 0;
  const openAtOnce = async (path: string, sinkOptions: FileSinkOptions): Promise<FileSink> => {
    opening++;
    try {
      return await openFileSink(path, sinkOptions);
    } finally {
      opening--;
    }
  };
  const recorder = await startRecorder({
    open: openAtOnce,
    ...options,
    file,
    gloves,
    profile,
    logger: silentLogger,
    version: '0',
    clock,
  });
  gloves.forEach((glove, i) => {
    glove.start();
    events[i].status({ state: 'live', address: 'simulated' });
  });
  let minute = 0;
  for (let n = 1; n * STEP_US <= seconds * 1e6; n++) {
    // Arrivals of a busy computer: up to 1.5 ms late, with fractions.
    nowUs = START_US + n * STEP_US + ((n * 977.31) % 1500);
    const due = timers.filter(({ atUs }) => atUs <= nowUs);
    if (due.length > 0) {
      timers = timers.filter((timer) => !due.includes(timer));
      for (const { run } of due) run();
    }
    options.each?.((n * STEP_US) / 1e6, gloves);
    const muted = options.mute?.((n * STEP_US) / 1e6) ?? false;
    devices.forEach((device, i) => {
      device.step(nowUs, (frame) => {
        if (!muted) events[i].bytes(frame, nowUs);
      });
    });
    // Now and then the disk gets its turn.
    if (n % 500 === 0) await setImmediate();
    while (opening > 0) await setImmediate();
    if (n * STEP_US >= (minute + 1) * 60e6) options.minute?.(++minute);
  }
  for (const glove of gloves) await glove.close();
  return recorder.stop();
}

export const silentLogger = new Proxy({}, { get: () => () => {} }) as Parameters<
  typeof createGlove
>[0]['logger'];
