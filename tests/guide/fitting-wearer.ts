import { createActuatorFit } from '../../src/guide/actuator-fit.js';
import { stopsToFit } from '../../src/guide/stops-to-fit.js';
import { STOP_FREE, STOP_MAX } from '../../src/protocol/link-table.js';
import { Resistance } from '../../src/resistance/resistance.js';
import { PROBE_EFFORT, PROBE_OPEN, PROBE_RATE } from '../../src/resistance/stop-probe.js';
import { SAFETY, servo } from '../resistance/profiles.js';

/** A synthetic wearer of one finger, with a servo whose places nobody has told the program. */
export interface Wearer {
  /** True wire stops at open and closed finger. */
  open: number;
  closed: number;
  /** What the profile says: only which is the greater matters. */
  said?: readonly [number, number];
  /** Pauses, reacts late, does not open fully, trembles, presses; 0..1. */
  sloppiness?: number;
  /** Curl beyond which the finger does not go by itself. */
  reach?: number;
  /** The string is not hooked in. */
  unhooked?: boolean;
  seed?: number;
  /** Faults to bring in at a step: what is different in it. */
  meddle?(step: number, world: World): Partial<Meddling>;
  steps?: number;
}

export interface Meddling {
  healthy: boolean;
  live: boolean;
  ageUs: number;
  curl: number;
  /** The fit does not renew its request. */
  mute: boolean;
  /** Steps that the service misses before this one. */
  missed: number;
}

export interface World {
  resistance: Resistance;
  nowUs: number;
  curl: number;
  held: boolean;
}

const STEP_US = 10_000;
const INDEX = 1;

/** Runs a fit to its end with the real resistance in between; `broken` names every promise that was not kept. */
export function wear(wearer: Wearer) {
  const { open, closed, said = [0, 1], sloppiness = 0, reach = 1, unhooked = false, seed = 1 } = wearer;
  let random = seed * 7919 + 17;
  const chance = () => {
    random = (random * 1103515245 + 12345) % 2147483648;
    return random / 2147483648;
  };
  const noise = () => (chance() + chance() + chance() - 1.5) * 0.008;
  const actuators = [servo('index', { stopAtOpen: said[0], stopAtClosed: said[1] })];
  const resistance = new Resistance({ safety: SAFETY, actuators });
  const fit = createActuatorFit(stopsToFit(actuators, []));
  const curls = new Float64Array(5);
  const healthy = new Uint8Array(5).fill(1);
  const broken = new Set<string>();
  const prompts: string[] = [];
  let nowUs = 1_000_000;
  let truth = 0.03;
  let phase = '';
  let since = 0;
  let pausedUntil = 0;
  let wire = said[1] >= said[0] ? 1 : 0;
  const paidOut = wire;
  let last = STOP_FREE;
  let lastUs = nowUs;
  let drawnMost = 0;
  let heldSteps = 0;
  resistance.arm(nowUs, 'test');
  resistance.beginProbing();
  const most = wearer.steps ?? 20_000;
  let step = 0;
  for (; step < most && fit.phase !== 'done'; step++) {
    const world = { resistance, nowUs, curl: truth, held: last !== STOP_FREE };
    const change = wearer.meddle?.(step, world) ?? {};
    nowUs += STEP_US * (1 + (change.missed ?? 0));
    if (fit.phase !== phase) {
      phase = fit.phase;
      since = step + Math.round((0.2 + sloppiness * chance()) * 60);
      pausedUntil = 0;
    }
    if (prompts.at(-1) !== fit.prompt) prompts.push(fit.prompt);

    // The wearer.
    const wanted = phase === 'close' && step > since ? reach + 0.03 : 0.02 + 0.04 * sloppiness * chance();
    if (phase === 'close' && sloppiness > 0 && pausedUntil === 0 && truth > 0.15 && chance() < 0.01) {
      pausedUntil = step + Math.round(45 * sloppiness);
    }
    const pace = (phase === 'close' ? 0.006 : 0.02) * (1 - 0.4 * sloppiness * chance());
    if (step > since && step > pausedUntil) truth += Math.min(pace, Math.max(-pace, wanted - truth));
    // Moves too soon, now and then.
    if (phase === 'wind' && sloppiness > 0 && chance() < 0.002 * sloppiness) truth = 0.2;
    // The servo: 0.12 s for 60 degrees or so; the string stops the finger, with a little give, and can draw it.
    const target = last === STOP_FREE ? paidOut : last / STOP_MAX;
    wire += Math.min(0.03, Math.max(-0.03, target - wire));
    const stop = (wire - open) / (closed - open);
    if (!unhooked && last !== STOP_FREE && truth > stop + 0.008) {
      drawnMost = Math.max(drawnMost, 0.02 - stop);
      truth = Math.max(stop + 0.008, -0.4);
    }

    const measured = change.curl ?? truth + noise();
    curls[INDEX] = Math.min(1.02, measured);
    healthy[INDEX] = (change.healthy ?? true) ? 1 : 0;
    const sampleUs = nowUs - (change.ageUs ?? 0);
    fit.step(nowUs / 1e6, curls, healthy, resistance.armed, resistance.probed);
    if (!change.mute) resistance.probe(fit.finger, fit.target, fit.effort, nowUs);
    resistance.step(nowUs, curls, healthy, sampleUs, change.live ?? true);

    const stopNow = resistance.commands.stops[0];
    const held = stopNow !== STOP_FREE;
    if (held) {
      heldSteps++;
      const place = paidOut === 1 ? stopNow / STOP_MAX : 1 - stopNow / STOP_MAX;
      const before = last === STOP_FREE ? 1 : paidOut === 1 ? last / STOP_MAX : 1 - last / STOP_MAX;
      const moved = Math.abs(place - before);
      const isOpen = curls[INDEX] < PROBE_OPEN;
      if (moved > 1e-4 && !isOpen) broken.add('moved while the finger was not open');
      if (moved > (PROBE_RATE * (nowUs - lastUs)) / 1e6 + 1e-4) broken.add('moved too fast');
      if (!resistance.armed) broken.add('held while disarmed');
      if (healthy[INDEX] !== 1) broken.add('held while faulty');
      if (change.live === false) broken.add('held without a link');
      if ((change.ageUs ?? 0) > SAFETY.staleMs * 1000) broken.add('held on stale samples');
      if (resistance.status.efforts[INDEX] > PROBE_EFFORT + 1e-9) broken.add('too much effort');
      for (const other of [0, 2, 3, 4]) if (resistance.status.held[other]) broken.add('held another finger');
    }
    last = stopNow;
    lastUs = nowUs;
  }
  return { fit, resistance, broken: [...broken], prompts, steps: step, drawnMost, heldSteps };
}
