import { describe, expect, it } from 'vitest';
import { type ChannelFinding, judgeCheck } from '../../src/guide/check.js';
import { movesToRepeat } from '../../src/guide/cross-talk.js';
import { createGuidedRun } from '../../src/guide/guided-run.js';
import { checkMoves } from '../../src/guide/moves.js';
import { whyNothingMoved } from '../../src/guide/nothing-moved.js';
import { createClosingProfile } from '../../src/hand/closing.js';
import { FINGERS } from '../../src/hand/joints.js';
import type { ChannelRole } from '../../src/protocol/link-table.js';
import { type Channel, compileChannels } from '../../src/sensing/channels.js';
import type { VerdictKind } from '../../src/sensing/health/verdicts.js';
import { CURL_ROLES, channel, gaussian, gloveWith, random, SPLAY_ROLES } from '../sensing/glove-signals.js';
import { createWearer, type WearerOptions } from './wearer.js';

const NOISE = 2;
const FULL = 4095;

interface Glove {
  roles: readonly ChannelRole[];
  channels: readonly Channel[];
}

function glove(roles: readonly ChannelRole[], ends: [number, number] = [491, 3604]): Glove {
  const profile = gloveWith(roles.map((role) => channel(role, { open: ends[0], closed: ends[1] })));
  return { roles, channels: compileChannels(profile, roles, createClosingProfile()) };
}

type Wire = (counts: number[], timeS: number) => void;

/** Leads a wearer through the whole check, in simulated time; `wire` does to the counts what a fault does. */
function check(
  { roles, channels }: Glove,
  wearer: WearerOptions,
  wire: Wire = () => {},
  rateHz = 200,
): { findings: ChannelFinding[]; seconds: number } {
  const run = createGuidedRun(channels, checkMoves(channels), (record) => movesToRepeat(record, channels));
  const person = createWearer(wearer);
  const noise = gaussian(wearer.seed + 5);
  const counts = new Array<number>(roles.length).fill(0);
  let t = 0;
  let bent = '';
  for (; !run.finished && t < 200 * rateHz; t++) {
    const move = run.moves[run.at];
    const hand = person.at(move, t / rateHz);
    // The hand opens again from the pose that it had.
    if (move.name !== 'open') bent = move.name;
    for (const [i, role] of roles.entries()) {
      const { open, closed, finger, kind, part } = channels[i];
      const spared = (bent === 'roof' && part !== 0) || (bent === 'hook' && part === 0);
      const value =
        kind === 'curl' || kind === 'joint'
          ? hand.curls[finger] * (kind === 'joint' && spared && finger > 0 ? 0.15 : 1)
          : kind === 'splay'
            ? (hand.splays[finger] + 1) / 2
            : (hand.controls[role as 'stick.x'] + 1) / 2;
      counts[i] = open + value * (closed - open) + NOISE * noise();
    }
    wire(counts, t / rateHz);
    run.sample(
      counts.map((x) => Math.min(FULL, Math.max(0, Math.round(x)))),
      t / rateHz,
    );
  }
  expect(run.finished).toBe(true);
  return { findings: judgeCheck(run.record, channels), seconds: t / rateHz };
}

const kinds = (findings: ChannelFinding[]) => findings.map(({ verdict }) => verdict.kind);

const FIVE = glove(CURL_ROLES);
const TEN = glove([...CURL_ROLES, ...SPLAY_ROLES, 'stick.x', 'stick.y']);

/** The faults of the host glove, done to counts, with its usual amounts. */
const INJECT: Record<string, (i: number, seed: number) => Wire> = {
  dead: (i) => {
    let stuck: number | undefined;
    return (counts) => {
      stuck ??= counts[i];
      counts[i] = stuck;
    };
  },
  railed: (i, seed) => (counts) => {
    counts[i] = seed % 2 === 0 ? 0 : FULL;
  },
  intermittent: (i, seed) => {
    const uniform = random(seed + 3);
    let ends = -1;
    let next = 0;
    let level = 0;
    return (counts, timeS) => {
      if (timeS >= next) {
        ends = timeS + 0.002 + 0.04 * uniform();
        level = uniform() < 0.5 ? 0 : FULL * uniform();
        next = ends - Math.log(1 - uniform()) / 4;
      }
      if (timeS < ends) counts[i] = level;
    };
  },
  noisy: (i, seed) => {
    const noise = gaussian(seed + 9);
    return (counts) => {
      counts[i] += 20 * NOISE * noise();
    };
  },
  reversed: (i) => (counts) => {
    counts[i] = 491 + 3604 - counts[i];
  },
  shortRange: (i) => (counts) => {
    counts[i] = 2047 + (counts[i] - 2047) * 0.15;
  },
  drifting: (i) => (counts, timeS) => {
    counts[i] += 0.02 * FULL * timeS;
  },
  swapped: (i) => (counts) => {
    const j = (i + 2) % 5;
    [counts[i], counts[j]] = [counts[j], counts[i]];
  },
  crossTalk: (i) => (counts) => {
    const j = (i + 2) % 5;
    counts[i] += 0.5 * (counts[j] - 491);
  },
};
const coupled =
  (to: number, from: number, part: number): Wire =>
  (counts) => {
    counts[to] += part * (counts[from] - 491);
  };

describe('a guided check', () => {
  it('finds nothing wrong with a good glove in ten minutes, whoever wears it', () => {
    for (let seed = 0; seed < 14; seed++) {
      const { findings, seconds } = check(TEN, { seed, sloppiness: 0.03 });
      expect(kinds(findings)).toEqual(new Array(12).fill('healthy'));
      expect(seconds).toBeLessThan(80);
      for (const { evidence } of findings)
        expect(evidence).toMatch(/(uses|goes from edge to edge over) \d+ % of the converter, noise/);
    }
  });

  it('finds nothing wrong with a glove wound the other way round, nor with slow samples', () => {
    expect(kinds(check(glove(CURL_ROLES, [3604, 491]), { seed: 4 }).findings)).toEqual(
      new Array(5).fill('healthy'),
    );
    expect(kinds(check(FIVE, { seed: 5 }, undefined, 50).findings)).toEqual(new Array(5).fill('healthy'));
  });

  it('names every kind of fault on every channel: confusion table', () => {
    const rows: string[] = [];
    let right = 0;
    let all = 0;
    for (const [kind, inject] of Object.entries(INJECT)) {
      const named = new Map<VerdictKind, number>();
      let others = 0;
      for (let i = 0; i < 5; i++) {
        for (const seed of [1, 2]) {
          const { findings } = check(FIVE, { seed: 10 * seed + i }, inject(i, seed));

          const got = findings[i].verdict.kind;
          named.set(got, (named.get(got) ?? 0) + 1);
          all++;
          if (got === kind) right++;
          const faulty = kind === 'swapped' ? [i, (i + 2) % 5] : [i];
          others += findings.filter((f, j) => !faulty.includes(j) && f.verdict.kind !== 'healthy').length;
        }
      }
      const cells = [...named].map(([got, n]) => `${got} ${n}`).join(', ');
      rows.push(`${kind.padEnd(13)} -> ${cells}${others > 0 ? `; false alarms elsewhere: ${others}` : ''}`);
    }
    console.log(`fault injected -> verdicts (10 each)\n${rows.join('\n')}\nright: ${right} of ${all}`);
    expect(right / all).toBeGreaterThanOrEqual(0.98);
    expect(rows.filter((row) => row.includes('false alarms'))).toEqual([]);
  });

  it('sees cross-talk of a quarter between any two fingers, and none on hands that share their tendons', () => {
    const missed: string[] = [];
    for (let from = 0; from < 5; from++) {
      for (let to = 0; to < 5; to++) {
        if (to === from) continue;
        const { findings } = check(FIVE, { seed: 10 * from + to }, coupled(to, from, 0.25));
        const expected = [0, 1, 2, 3, 4].map((f) => (f === to ? 'crossTalk' : 'healthy'));
        if (kinds(findings).join() !== expected.join()) missed.push(`${to} <- ${from}: ${kinds(findings)}`);
      }
    }
    expect(missed).toEqual([]);
    for (const follows of [0, 0.2, 0.4, 0.55, 0.65]) {
      for (const seed of [1, 2, 3]) {
        expect(kinds(check(FIVE, { seed, follows }).findings)).toEqual(new Array(5).fill('healthy'));
      }
    }
  });

  it('takes the tendons of a wearer who holds nothing, whatever is asked, for no cross-talk, and says so', () => {
    let alarms = 0;
    let noted = 0;
    for (let seed = 1; seed <= 30; seed++) {
      const wearer = { seed, follows: 0.25 + 0.006 * seed, holds: false, sloppiness: 0.04 };
      const { findings } = check(FIVE, wearer);
      if (kinds(findings).some((kind) => kind !== 'healthy')) alarms++;
      if (findings.every(({ evidence }) => /not held when asked/.test(evidence))) noted++;
    }
    expect([alarms, noted]).toEqual([0, 30]);
    // Wires that couple more than tendons are still seen; and who holds is told nothing of it.
    const { findings } = check(FIVE, { seed: 3, holds: false }, coupled(4, 0, 0.4));
    expect(kinds(findings)[4]).toBe('crossTalk');
    expect(
      check(FIVE, { seed: 3 })
        .findings.map(({ evidence }) => evidence)
        .join(),
    ).not.toContain('not held');
  });

  it('tells an open input without a pull-down, which creeps after its neighbour, from a string that stretches', () => {
    for (let seed = 1; seed <= 10; seed++) {
      // The converter carries charge over from the channel it read before: 100 nF, 10 pF at 250 readings a second.
      let level = 600 + 250 * seed;
      let lastS = 0;
      const floating: Wire = (counts, timeS) => {
        level += (counts[1] - level) * (1 - Math.exp(-(timeS - lastS) / 40));
        lastS = timeS;
        counts[2] = level;
      };
      const { findings } = check(FIVE, { seed }, floating);
      expect(kinds(findings)).toEqual(['healthy', 'healthy', 'dead', 'healthy', 'healthy']);
      const stretching: Wire = (counts, timeS) => {
        counts[2] += 0.004 * 3000 * timeS;
      };
      expect(kinds(check(FIVE, { seed }, stretching).findings)[2]).toBe('drifting');
    }
  });

  it('tells the knuckle of a finger from the joints beyond it', () => {
    const joints = glove(
      FINGERS.slice(1).flatMap(
        (finger): ChannelRole[] => [`${finger}.mcp`, `${finger}.pip`, `${finger}.dip`] as ChannelRole[],
      ),
    );
    expect(kinds(check(joints, { seed: 1 }).findings)).toEqual(new Array(12).fill('healthy'));
    for (const [finger, beyond] of [
      [0, 1],
      [1, 2],
      [3, 1],
    ]) {
      const [a, b] = [3 * finger, 3 * finger + beyond];
      const { findings } = check(joints, { seed: 20 + finger }, (counts) => {
        [counts[a], counts[b]] = [counts[b], counts[a]];
      });
      expect(
        findings.map(({ verdict }, i) => (verdict.kind === 'swapped' ? i : -1)).filter((i) => i >= 0),
      ).toEqual([a, b]);
    }
  });

  it('names a channel that the glove does not send', () => {
    const profile = gloveWith(CURL_ROLES.map((role) => channel(role)));
    const sent = CURL_ROLES.slice(0, 4);
    const channels = compileChannels(profile, sent, createClosingProfile());
    const { findings } = check({ roles: CURL_ROLES, channels }, { seed: 6 });
    expect(kinds(findings)).toEqual([...new Array(4).fill('healthy'), 'missing']);
  });

  it('gives every fault its evidence and a remedy', () => {
    for (const [kind, inject] of Object.entries(INJECT)) {
      const { verdict } = check(FIVE, { seed: 3 }, inject(1, 1)).findings[1];
      expect(verdict.kind).toBe(kind);
      expect(verdict.evidence).toMatch(/\d/);
      expect(verdict.remedy).not.toBe('');
    }
  });

  it('sees a finger that is reversed under swapped plugs', () => {
    for (const seed of [1, 2, 3]) {
      const { findings } = check(FIVE, { seed }, (counts) => {
        // The ring's sensor is wound the other way round, and its plug is exchanged with the index finger's.
        counts[3] = 491 + 3604 - counts[3];
        [counts[1], counts[3]] = [counts[3], counts[1]];
      });
      expect(kinds(findings)).toEqual(['healthy', 'swapped', 'healthy', 'swapped', 'healthy']);
      expect(findings[1].verdict.evidence).toMatch(
        /for the ring; ring\.curl does the reverse; it is reversed as well$/,
      );
      expect(findings[1].verdict.remedy).toMatch(
        /^Swap the two plugs.* Then, for the ring: swap the outer two wires/,
      );
      expect(findings[3].verdict.evidence).not.toMatch(/reversed/);
    }
  });

  it('sees a finger that drifts by 0.4 % of its range a second, and no drift on hands that never open quite alike', () => {
    let seen = 0;
    const wrong: string[] = [];
    for (let seed = 1; seed <= 20; seed++) {
      const bad = seed % 5;
      const sloppiness = [0.01, 0.02, 0.03, 0.04][seed % 4];
      const drifts = check(FIVE, { seed, sloppiness }, (counts, timeS) => {
        counts[bad] += 0.004 * (3604 - 491) * timeS * (seed % 2 === 0 ? 1 : -1);
      });
      for (const [i, kind] of kinds(drifts.findings).entries()) {
        if (i === bad && kind === 'drifting') seen++;
        else if (kind !== 'healthy') wrong.push(`${seed}: ${i} ${kind}`);
      }
    }
    for (let seed = 1; seed <= 30; seed++) {
      const { findings } = check(FIVE, { seed, sloppiness: 0.02 + 0.002 * seed });
      for (const [i, kind] of kinds(findings).entries())
        if (kind === 'drifting') wrong.push(`healthy ${seed}: ${i} ${kind}`);
    }
    expect(wrong).toEqual([]);
    expect(seen).toBe(20);
  });

  it('says what to do about a stick in words of its own', () => {
    const { findings } = check(TEN, { seed: 2 }, (counts) => {
      counts[10] = 2048;
      counts[11] = 2048 + 0.15 * (counts[11] - 2048);
    });
    expect(kinds(findings).slice(10)).toEqual(['dead', 'shortRange']);
    expect(findings[10].verdict.remedy).toMatch(/if both axes of a stick are dead, its supply/);
    expect(findings[11].verdict.remedy).toMatch(/Move it to every edge when asked/);
    for (const { verdict } of findings.slice(10)) expect(verdict.remedy).not.toMatch(/string|finger/i);
  });

  it('asks for buttons where the profile names some, and goes on once they have been pressed', () => {
    const last = (channels: readonly Channel[], buttons: number) => checkMoves(channels, buttons).at(-1)!;
    expect(last(TEN.channels, 0).prompt).toBe(
      'Move the stick to all sides; press and let go of every trigger.',
    );
    expect(last(TEN.channels, 2).prompt).toBe(
      'Stick to all sides; press and let go of every trigger and button.',
    );
    const move = last(FIVE.channels, 2);
    expect(move).toMatchObject({
      name: 'controls',
      prompt: 'Press every button, one after the other, and let go.',
    });
    const run = createGuidedRun(FIVE.channels, [move]);
    const counts = [500, 500, 500, 500, 500];
    let t = 0;
    for (; !run.finished && t < 2000; t++) run.sample(counts, t / 100, t > 100 && t % 200 < 30 ? 1 : 0);
    expect(run.record.moves[0].made).toBe(true);
    // Its own two seconds and a half, and one and a half for each button.
    expect(t / 100).toBeGreaterThan(5);
    expect(t / 100).toBeLessThan(8);
  });

  it('says when a channel that is still well is far noisier than its siblings', () => {
    const noise = gaussian(99);
    const { findings } = check(FIVE, { seed: 11 }, (counts) => {
      counts[2] += 9 * noise();
    });
    expect(findings.map(({ verdict }) => verdict.kind)).toEqual(Array(5).fill('healthy'));
    expect(findings[2].evidence).toMatch(/, \d+ times that of its siblings$/);
    for (const i of [0, 1, 3, 4]) expect(findings[i].evidence).not.toMatch(/siblings/);
  });
});

describe('moves that nobody makes', () => {
  const still = (level: number, moved = -1) => {
    const { channels } = FIVE;
    const run = createGuidedRun(channels, checkMoves(channels));
    const noise = gaussian(3);
    let t = 0;
    let curl = 0;
    for (; !run.finished && t < 400 * 100; t++) {
      curl += 0.05 * (Number(run.moves[run.at].name === 'fist') - curl);
      const counts = channels.map((_, i) => {
        const way = i === moved ? 800 * curl : 0;
        return Math.min(
          4095,
          Math.max(0, Math.round(level + way + (level > 0 && level < 4095 ? 2 * noise() : 0))),
        );
      });
      run.sample(counts, t / 100);
    }
    return { run, seconds: t / 100, why: whyNothingMoved(run.record, channels) };
  };

  it('are given up soon, with what the readings tell', () => {
    const idle = still(1500);
    expect(idle.run.abandoned).toBe(true);
    expect(idle.seconds).toBeLessThan(30);
    expect(idle.why).toMatch(/Wear the glove and begin again; if you did move, no sensor answers/);
    expect(still(0).why).toMatch(/every sensor reads 0: their supply is off/);
    expect(still(4095).why).toMatch(/every sensor reads full scale: their ground is off/);
  });

  it('are not given up as long as one finger answers', () => {
    const { run } = still(1500, 1);
    expect(run.abandoned).toBe(false);
    expect(run.at).toBe(run.moves.length);
  });
});
