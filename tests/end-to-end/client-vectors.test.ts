import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Quaternion, Vector3 } from 'three';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { ClientError, type HandPose } from '../../src/client/index.js';
import { poseFromBytes } from '../../src/client/pose.js';
import { touchFault } from '../../src/contact/touches.js';
import { POSE_STRIDE, VELOCITY_STRIDE } from '../../src/hand/joints.js';
import type { ConvexShape } from '../../src/protocol/messages.js';
import { isMessageOf } from '../../src/stream/validate.js';
import { compileCsharp } from '../client/mono.js';
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

function javascript(line: string): unknown {
  const [kind] = line.split(' ', 1);
  const text = line.slice(kind.length + 1);
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
const LANGUAGES: Record<string, () => (lines: string[]) => unknown[]> = {
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
    execFileSync(process.env.CXX ?? 'g++', [...flags, '-Isrc/client/cpp', source, '-o', out]);
    return program(out, []);
  },
  Python: () =>
    program('python3', ['tests/client/python/conformance.py'], {
      PYTHONPATH: 'src/client/python',
      PYTHONIOENCODING: 'utf-8',
    }),
};

describe.each(Object.keys(LANGUAGES))('%s', (language) => {
  let ask: (lines: string[]) => unknown[];
  beforeAll(() => {
    ask = LANGUAGES[language]();
  }, 240_000);

  it('reads every record, and refuses every damaged one', () => {
    const lines = vectors.records.map(({ hex }: { hex: string }) => `record ${hex}`);
    // Twice, in another order: nothing stays from the one before.
    const answers = ask([...lines, ...lines.toReversed()]).map(inSingle);
    const wanted = vectors.records.map(({ pose }: Vector) => pose);
    expect(answers).toEqual([...wanted, ...wanted.toReversed()]);
  });
});

/** In C++ an error comes as its JSON text. */
it.each(['JavaScript', 'C#', 'Python'])('%s makes errors with a code, one line and a path', (language) => {
  const wanted = vectors.errors.map(({ code, message, path }: Vector) => ({
    code,
    message,
    path: path ?? null,
  }));
  const lines = vectors.errors.map((error: object) => `error ${JSON.stringify(error)}`);
  expect(LANGUAGES[language]()(lines)).toEqual(wanted);
});

/** Languages whose engines have axes and colliders of their own. */
describe.each(['C#'])('%s', (language) => {
  let ask: (lines: string[]) => unknown[];
  beforeAll(() => {
    ask = LANGUAGES[language]();
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
