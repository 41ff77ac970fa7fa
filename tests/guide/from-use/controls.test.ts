import { describe, expect, it } from 'vitest';
import { learnControls } from '../../../src/guide/from-use/controls.js';
import { createUseRecord } from '../../../src/guide/from-use/use-record.js';
import { quantile } from '../../../src/guide/move-statistics.js';
import { compileChannels } from '../../../src/sensing/channels.js';
import { channel, gaussian, gloveWith, random } from '../../sensing/glove-signals.js';
import { closing } from '../../sensing/synthetic-glove.js';

/**
 * Simulated users of a stick and a trigger. How often which push is made, how long it is kept, and how badly a worn stick
 * comes back is common practice, not measured.
 */

const FULL = 4095;
const ROLES = ['stick.x', 'stick.y', 'trigger'] as const;
interface Way {
  open: number;
  centre: number;
  closed: number;
}
type User = {
  seed: number;
  seconds?: number;
  friction?: number;
  pushes?: readonly (readonly [number, number])[];
};

const SIDES = [
  [0, 1],
  [0, -1],
  [1, 0],
  [-1, 0],
] as const;

function waysOf(seed: number): Record<(typeof ROLES)[number], Way> {
  const uniform = random(seed * 7 + 1);
  const between = (a: number, b: number) => Math.round((a + (b - a) * uniform()) * FULL);
  const stick = (turned: boolean): Way => {
    const [low, high] = [between(0.05, 0.2), between(0.8, 0.95)];
    const [open, closed] = turned ? [high, low] : [low, high];
    return { open, closed, centre: between(0.42, 0.58) };
  };
  const open = between(0.1, 0.3);
  return {
    'stick.x': stick(false),
    'stick.y': stick(true),
    trigger: { open, centre: open, closed: between(0.6, 0.9) },
  };
}

/** What he does for so long, recorded as the service does it. */
function used({ seed, seconds = 180, friction = 0.02, pushes = SIDES }: User) {
  const ways = waysOf(seed);
  const uniform = random(seed * 13 + 5);
  const normal = gaussian(seed * 3 + 11);
  const between = (a: number, b: number) => a + (b - a) * uniform();
  const record = createUseRecord([FULL, FULL, FULL]);
  let to = [0, 0, 0];
  const now = [0, 0, 0];
  let pushed = false;
  let untilS = 0;
  let movesS = 0.1;
  const rests: number[] = [];
  for (let t = 0; t < seconds * 100; t++) {
    const nowS = t / 100;
    if (nowS >= untilS) {
      pushed = !pushed;
      if (!pushed) {
        // Back, and not quite: friction keeps it where it stops.
        to = [friction * normal(), friction * normal(), Math.max(0, 0.3 * friction * normal())];
        rests.push(to[0], to[1]);
      } else {
        const [x, y] = pushes[Math.floor(uniform() * pushes.length)];
        const far = uniform() < 0.6 ? 1 : between(0.3, 0.95);
        const aside = uniform() < 0.3 ? between(-0.7, 0.7) : 0;
        const part = far / Math.hypot(1, aside);
        to = uniform() < 0.6 ? [part * (x + aside * y), part * (y + aside * x), to[2]] : [to[0], to[1], far];
      }
      movesS = between(0.06, 0.2);
      // A flick does not stay.
      const staysS = pushed ? (uniform() < 0.3 ? 0 : between(0.2, 2)) : between(0.4, 3);
      untilS = nowS + movesS + staysS;
    }
    for (let k = 0; k < 3; k++) now[k] += Math.max(-0.01 / movesS, Math.min(0.01 / movesS, to[k] - now[k]));
    const counts = ROLES.map((role, k) => {
      const { open, centre, closed } = ways[role];
      const v = Math.min(1, Math.max(-1, now[k]));
      const level =
        role === 'trigger'
          ? open + v * (closed - open)
          : v > 0
            ? centre + v * (closed - centre)
            : centre + v * (centre - open);
      return Math.round(level + 2 * normal());
    });
    record.sample(counts, nowS, new Uint8Array(5));
  }
  return { ways, rows: record.read(), rests };
}

function learn(user: User, inUse: (way: Way) => Way, fitted: boolean, stickDeadZone = 0.12) {
  const { ways, rows, rests } = used(user);
  const profile = gloveWith(
    ROLES.map((role) => {
      const { open, centre, closed } = inUse(ways[role]);
      return channel(role, { open, closed, ...(role === 'trigger' ? {} : { centre }) });
    }),
  );
  const channels = compileChannels(profile, ROLES, closing);
  const three = <T>(value: T): T[] => [value, value, value];
  const learned = learnControls(rows, {
    channels,
    fitted: three(fitted),
    faulty: three(false),
    stickDeadZone,
  });
  return { learned, ways, rests };
}

/** Which end is which only the profile knows. */
const asGuessed = ({ open, closed }: Way): Way =>
  open < closed ? { open: 100, centre: 2048, closed: 3995 } : { open: 3995, centre: 2048, closed: 100 };

describe('sticks and triggers from use', () => {
  it('are known to within a few parts of a hundred of their way', () => {
    const ends: number[] = [];
    const centres: number[] = [];
    const within: boolean[] = [];
    let told = 0;
    for (let seed = 1; seed <= 60; seed++) {
      const { learned, ways } = learn({ seed }, asGuessed, false);
      told += learned.controls.length + learned.asInUse.length;
      for (const { role, open, closed, centre, uncertaintyPart } of learned.controls) {
        const way = ways[role as (typeof ROLES)[number]];
        const span = Math.abs(way.closed - way.open) / (role === 'trigger' ? 1 : 2);
        const off = [open - way.open, closed - way.closed].map((d) => Math.abs(d) / span);
        ends.push(...off);
        if (centre !== undefined) centres.push(Math.abs(centre - way.centre) / span);
        within.push(Math.max(...off) < 3 * uncertaintyPart);
      }
    }
    const part = (x: number) => `${(100 * x).toFixed(1)} %`;
    console.log(
      `${told} of 180 told; ends off by ${part(quantile(ends, 0.5))}, ${part(quantile(ends, 0.95))}; centre ${part(quantile(centres, 0.5))}, ${part(quantile(centres, 0.95))}; within 3 sd ${within.filter(Boolean).length} of ${within.length}`,
    );
    expect(told).toBeGreaterThan(0.5 * 180);
    expect(quantile(ends, 0.95)).toBeLessThan(0.03);
    expect(quantile(centres, 0.95)).toBeLessThan(0.02);
    expect(within.filter(Boolean).length).toBeGreaterThan(0.95 * within.length);
  });

  it('are left alone where what is in use is right, and never made worse where it is a little off', () => {
    let proposed = 0;
    let worse = 0;
    for (let seed = 1; seed <= 40; seed++) {
      expect(learn({ seed }, (way) => way, true).learned.controls).toEqual([]);
      const slipped = (way: Way): Way => ({
        open: way.open + 100,
        centre: way.centre + 100,
        closed: way.closed + 100,
      });
      const { learned, ways } = learn({ seed }, slipped, true);
      for (const { role, open, closed, centre = open } of learned.controls) {
        const way = ways[role as (typeof ROLES)[number]];
        proposed++;
        const off = Math.max(...[open - way.open, closed - way.closed, centre - way.centre].map(Math.abs));
        if (off >= 100) worse++;
      }
    }
    console.log(`slipped by 100 of 4095 counts: ${proposed} of 120 proposed, ${worse} worse`);
    expect(proposed).toBeGreaterThan(60);
    expect(worse).toBe(0);
  });

  it('say how wide the dead zone must be: it covers how the stick comes to rest', () => {
    let said = 0;
    const inside: number[] = [];
    for (let seed = 1; seed <= 60; seed++) {
      const right = (way: Way) => way;
      const worn = learn({ seed, friction: 0.09 }, right, true, 0.05);
      const wide = worn.learned.stickDeadZone;
      if (wide !== undefined) {
        said++;
        const radii: number[] = [];
        for (let k = 0; k < worn.rests.length; k += 2)
          radii.push(Math.hypot(worn.rests[k], worn.rests[k + 1]));
        inside.push(radii.filter((r) => r < wide).length / radii.length);
        expect(wide).toBeLessThan(0.41);
      }
      // A good stick and the usual dead zone suit each other.
      expect(learn({ seed, friction: 0.03 }, right, true).learned.stickDeadZone).toBeUndefined();
      // A dead zone of a third is a waste for it.
      const wasted = learn({ seed, friction: 0.01 }, right, true, 0.35).learned;
      if (wasted.stickDeadZone !== undefined) expect(wasted.stickDeadZone).toBeLessThan(0.1);
    }
    const part = (x: number) => `${(100 * x).toFixed(0)} %`;
    console.log(
      `dead zone said ${said} times of 60; rests inside it: ${part(quantile(inside, 0.05))} to ${part(quantile(inside, 0.95))}`,
    );
    expect(said).toBeGreaterThan(15);
    expect(quantile(inside, 0.05)).toBeGreaterThan(0.85);
  });

  it('are not said while there is too little to go by', () => {
    const forwards = learn({ seed: 3, pushes: [[0, 1]] }, asGuessed, false).learned;
    expect(forwards.controls.map(({ role }) => role)).not.toContain('stick.x');
    expect(forwards.controls.map(({ role }) => role)).not.toContain('stick.y');
    expect(forwards.missing.map(({ says }) => says).join('\n')).toMatch(
      /stick\.y: (push it all the way to each side|where it rests is not clear)/,
    );
    expect(forwards.stickDeadZone).toBeUndefined();
    const brief = learn({ seed: 3, seconds: 5 }, asGuessed, false).learned;
    expect(brief.controls).toEqual([]);
  });
});
