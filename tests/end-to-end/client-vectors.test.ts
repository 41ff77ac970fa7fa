import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Quaternion, Vector3 } from 'three';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { GrabCore } from '../../src/client/grab-core.js';
import { ClientError, type HandPose } from '../../src/client/index.js';
import { poseFromBytes } from '../../src/client/pose.js';
import { touchFault } from '../../src/contact/touches.js';
import { JOINT_COUNT, JOINT_NAMES, POSE_STRIDE, VELOCITY_STRIDE } from '../../src/hand/joints.js';
import type { ConvexShape } from '../../src/protocol/messages.js';
import { isMessageOf } from '../../src/stream/validate.js';
import { compileCsharp } from '../client/mono.js';
import { compileCpp } from '../compiled.js';
import { distanceOf } from '../contact/oracle.js';

/** Clients in all languages make the same of the same input. */
const vectors = JSON.parse(readFileSync('tests/client/vectors.json', 'utf8'));
type Vector = Record<string, never> & { name: string };

let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-vectors-'));
}, 60_000);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const rows = (values: Float32Array | undefined, stride: number) =>
  values
    ? vectors.jointsShown.map((joint: number) => [...values.subarray(joint * stride, (joint + 1) * stride)])
    : null;

const TIP = JOINT_NAMES.indexOf('index-finger-tip');
let grab = new GrabCore(0);
function grabbing(words: string[]): unknown {
  const numbers = words.slice(1).map(Number);
  if (words[0] === 'reach') {
    grab = new GrabCore(numbers[0]);
    return null;
  }
  const [nowMs, valid, seq, carried, fingers, drop, moves] = numbers;
  const [object, palm, tip] = [numbers.slice(7, 14), numbers.slice(14, 21), numbers.slice(21, 24)];
  const poses = Float64Array.from(
    { length: JOINT_COUNT * POSE_STRIDE },
    (_, i) => palm[i % POSE_STRIDE] ?? 0.01,
  );
  poses.set(tip, TIP * POSE_STRIDE);
  const velocities = moves ? numbers.slice(24) : undefined;
  if (drop) grab.drop();
  const report = { carried: carried === 1, fingers };
  const event = grab.update(nowMs, { valid: valid === 1, seq, poses, velocities }, report, object);
  return {
    state: grab.state,
    event: event ?? null,
    object: [...grab.object],
    inPalm: grab.state === 'held' ? [...grab.inPalm] : null,
    velocity: [...grab.velocity],
    angularVelocity: [...grab.angularVelocity],
  };
}

function javascript(line: string): unknown {
  const [kind, ...words] = line.split(' ');
  const text = line.slice(kind.length + 1);
  if (kind === 'grab') return grabbing(words);
  if (kind === 'error') {
    const { code, message, path } = JSON.parse(text);
    const error = new ClientError(code, message, path);
    return { code: error.code, message: error.message, path: error.path ?? null };
  }
  let pose: HandPose;
  try {
    pose = poseFromBytes(Buffer.from(text, 'hex'));
  } catch {
    return null;
  }
  return {
    hand: pose.hand,
    seq: pose.seq,
    timeUs: pose.timeUs,
    poseTimeUs: pose.poseTimeUs,
    space: pose.space,
    valid: pose.valid,
    recorded: pose.recorded,
    reason: pose.reason ?? null,
    fingers: pose.fingers,
    joints: rows(pose.poses, POSE_STRIDE),
    velocities: rows(pose.velocities, VELOCITY_STRIDE),
    pressures: pose.pressures ? [...pose.pressures] : null,
  };
}

/** What a program prints of its floats is read as doubles. */
const inSingle = (answer: unknown): unknown => {
  const single = (value: unknown): unknown =>
    Array.isArray(value) ? value.map(single) : typeof value === 'number' ? Math.fround(value) : value;
  const pose = answer as Record<string, unknown> | null;
  if (!pose) return null;
  const { joints, velocities, pressures } = pose;
  return { ...pose, joints: single(joints), velocities: single(velocities), pressures: single(pressures) };
};

/** Runs a program that answers line by line. */
const program = (name: string, args: string[], env: Record<string, string> = {}) => {
  return (lines: string[]): unknown[] =>
    execFileSync(name, args, {
      input: `${lines.join('\n')}\n`,
      encoding: 'utf8',
      env: { ...process.env, ...env },
    })
      .trimEnd()
      .split('\n')
      .map((line) => JSON.parse(line));
};
const BUILD: Record<string, () => (lines: string[]) => unknown[]> = {
  JavaScript: () => (lines) => lines.map(javascript),
  'C#': () => {
    const out = join(folder, 'conformance.exe');
    compileCsharp('tests/client/csharp/Conformance.cs', out);
    return program('mono', [out], { LANG: 'C.UTF-8' });
  },
  'C++': () => {
    const out = join(folder, 'conformance');
    const flags = ['-std=c++17', '-O1', '-Wall', '-Wextra', '-Werror', '-fsanitize=address,undefined'];
    const source = 'tests/client/cpp/conformance.cpp';
    compileCpp([...flags, '-Isrc/client/cpp', source], out);
    return program(out, []);
  },
  Python: () =>
    program('python3', ['tests/client/python/conformance.py'], {
      PYTHONPATH: 'src/client/python',
      PYTHONIOENCODING: 'utf-8',
    }),
};

const built = new Map<string, (lines: string[]) => unknown[]>();
/** The program of a language, built once. */
function inLanguage(language: string): (lines: string[]) => unknown[] {
  const ask = built.get(language) ?? BUILD[language]();
  built.set(language, ask);
  return ask;
}

describe.each(Object.keys(BUILD))('%s', (language) => {
  let ask: (lines: string[]) => unknown[];
  beforeAll(() => {
    ask = inLanguage(language);
  }, 240_000);

  it('reads every record, and refuses every damaged one', () => {
    const lines = vectors.records.map(({ hex }: { hex: string }) => `record ${hex}`);
    // Twice, in another order: nothing stays from the one before.
    const answers = ask([...lines, ...lines.toReversed()]).map(inSingle);
    const wanted = vectors.records.map(({ pose }: Vector) => pose);
    expect(answers).toEqual([...wanted, ...wanted.toReversed()]);
  });
});

type Frame = Record<'object' | 'palm' | 'tip', number[]> &
  Record<'valid' | 'carried' | 'drop', boolean> &
  Record<'nowMs' | 'seq' | 'fingers', number> & { velocity: number[] | null; wants: Record<string, never> };
const frameLine = (frame: Frame): string =>
  [
    'grab frame',
    frame.nowMs,
    Number(frame.valid),
    frame.seq,
    Number(frame.carried),
    frame.fingers,
    Number(frame.drop),
    Number(frame.velocity !== null),
    ...[frame.object, frame.palm, frame.tip, frame.velocity ?? [0, 0, 0, 0, 0, 0]].flat(),
  ].join(' ');
/** A quaternion and its negative are the same turn. */
const samePose = (pose: number[], wanted: number[]): void => {
  const [turn, other] = [pose.slice(3), wanted.slice(3)];
  const sign = Math.sign(turn.reduce((sum, x, i) => sum + x * other[i], 0));
  sameNumbers([...pose.slice(0, 3), ...turn.map((x) => x * sign)], wanted);
};
const sameNumbers = (numbers: number[], wanted: number[]): void => {
  expect(numbers).toHaveLength(wanted.length);
  for (const [i, value] of numbers.entries()) expect(Math.abs(value - wanted[i])).toBeLessThan(5e-6);
};

describe.each(Object.keys(BUILD))('grabbing in %s', (language) => {
  let ask: (lines: string[]) => unknown[];
  beforeAll(() => {
    ask = inLanguage(language);
  }, 240_000);

  it.each(vectors.grabs as { name: string; reach: number; frames: Frame[] }[])(
    'a thing $name',
    ({ reach, frames }) => {
      const [, ...answers] = ask([`grab reach ${reach}`, ...frames.map(frameLine)]) as Record<
        string,
        never
      >[];
      const said = answers.map(({ state, event }) => `${state} ${event}`);
      expect(said).toEqual(frames.map(({ wants }) => `${wants.state} ${wants.event}`));
      for (const [i, answer] of answers.entries()) {
        const { wants } = frames[i];
        samePose(answer.object, wants.object);
        if (wants.inPalm) samePose(answer.inPalm, wants.inPalm);
        else expect(answer.inPalm).toBeNull();
        sameNumbers(answer.velocity, wants.velocity);
        sameNumbers(answer.angularVelocity, wants.angularVelocity);
      }
    },
  );
});

it.each(Object.keys(BUILD))('%s makes errors with a code, one line and a path', (language) => {
  const wanted = vectors.errors.map(({ code, message, path }: Vector) => ({
    code,
    message,
    path: path ?? null,
  }));
  // Once as the service writes them, and once with every letter beyond ASCII escaped, as others may.
  const texts: string[] = vectors.errors.map((error: object) => JSON.stringify(error));
  const escaped = texts.map((text) =>
    text.replace(/[\u0080-\uffff]/g, (unit) => `\\u${unit.charCodeAt(0).toString(16).padStart(4, '0')}`),
  );
  expect(escaped.join()).toMatch(/\\ud83e\\udde4/);
  const lines = [...texts, ...escaped].map((text) => `error ${text}`);
  expect(inLanguage(language)(lines)).toEqual([...wanted, ...wanted]);
});

it('C++ for frame loops reads every record, and refuses every damaged one', () => {
  const lines = vectors.records.map(({ hex }: { hex: string }) => `linked ${hex}`);
  const answers = inLanguage('C++')(lines) as (Record<string, never> | null)[];
  expect(answers).toHaveLength(vectors.records.length);
  for (const [i, { pose }] of (vectors.records as { pose: Record<string, never> | null }[]).entries()) {
    if (!pose) expect(answers[i]).toBeNull();
    else {
      const { joints, pressures, ...others } = answers[i]!;
      expect(pose).toMatchObject(others);
      expect((inSingle({ pressures }) as { pressures: unknown }).pressures).toEqual(pose.pressures);
      sameNumbers((joints as number[][]).flat(), (pose.joints as number[][]).flat());
    }
  }
});

/** Languages whose engines have axes and colliders of their own. */
describe.each(['C#', 'C++'])('%s', (language) => {
  let ask: (lines: string[]) => unknown[];
  beforeAll(() => {
    ask = inLanguage(language);
  }, 240_000);
  const head = ({ axes, unitsPerMetre }: Vector) => [...axes, unitsPerMetre];
  const close = (got: number[], wanted: number[], scale = 1) =>
    got.forEach((value, i) => {
      expect(value / scale).toBeCloseTo(wanted[i] / scale, 5);
    });

  it('turns poses into the axes of engines, and back', () => {
    const lines = vectors.axes.map((one: Vector) => {
      const { position, orientation } = one.stream as { position: number[]; orientation: number[] };
      return ['axes', ...head(one), ...position, ...orientation].join(' ');
    });
    const answers = ask(lines) as { position: number[]; orientation: number[]; back: number[][] }[];
    answers.forEach(({ position, orientation, back }, i) => {
      const { engine, stream, unitsPerMetre } = vectors.axes[i];
      close(position, engine.position, unitsPerMetre);
      close(orientation, engine.orientation);
      close(back[0], stream.position);
      close(back[1], stream.orientation);
    });
    expect(answers).toHaveLength(20);
  });

  it('turns colliders into shapes that the service takes, with the same surface', () => {
    const lines = vectors.colliders.map((one: Vector) => {
      const { placement, centre, numbers, kind } = one as Record<string, never>;
      const { position, rotation, scale } = placement as Record<string, number[]>;
      return ['collider', ...head(one), kind, position, rotation, scale, centre, numbers].flat(2).join(' ');
    });
    const answers = ask(lines) as { shape: ConvexShape; position: number[]; orientation: number[] }[];
    answers.forEach(({ shape, position, orientation }, i) => {
      const { name, surface } = vectors.colliders[i];
      const touch = { type: 'touch', hand: 'right', shape, position, orientation } as never;
      expect(isMessageOf('touch', touch), name).toBe(true);
      expect(touchFault(touch), name).toBeUndefined();
      const distance = distanceOf(shape);
      const back = new Quaternion(...orientation).invert();
      for (const point of surface as [number, number, number][]) {
        const at = new Vector3(...point).sub(new Vector3(...position)).applyQuaternion(back);
        expect(Math.abs(distance(at.x, at.y, at.z)), name).toBeLessThan(2e-6);
      }
    });
    expect(answers).toHaveLength(35);
  });
});
