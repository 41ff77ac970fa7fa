import { EXAMPLES } from '../../src/stream/examples.js';
import { OPCODE } from '../../src/stream/frame-reader.js';

/** Messages made to hurt whoever reads them, and their frames. */

export type Random = (below: number) => number;

const MASK_BYTES = 4;

/** A message as frames of a client (RFC 6455, 5.2): whole, in fragments, or with a byte that is wrong. */
export function framed(payload: Buffer, isBinary: boolean, random: Random): Buffer {
  const frames: Buffer[] = [];
  const parts = random(20) === 0 ? 1 + random(20) : 1;
  for (let part = 0; part < parts; part++) {
    const from = Math.floor((part * payload.length) / parts);
    const piece = payload.subarray(from, Math.floor(((part + 1) * payload.length) / parts));
    const opcode = part > 0 ? OPCODE.continuation : isBinary ? OPCODE.binary : OPCODE.text;
    const lengthBytes = piece.length < 126 ? 0 : piece.length < 65_536 ? 2 : 8;
    // The masking key is 0, so that the payload stands there as it is.
    const header = Buffer.alloc(2 + lengthBytes + MASK_BYTES);
    header[0] = (part === parts - 1 ? 0x80 : 0) | opcode;
    header[1] = 0x80 | (lengthBytes === 0 ? piece.length : lengthBytes === 2 ? 126 : 127);
    if (lengthBytes === 2) header.writeUInt16BE(piece.length, 2);
    if (lengthBytes === 8) header.writeBigUInt64BE(BigInt(piece.length), 2);
    frames.push(header, piece);
  }
  const bytes = Buffer.concat(frames);
  if (random(200) === 0) bytes[random(bytes.length)] = random(256);
  return bytes;
}

/** Without the one that ends what the others ask for; it comes by itself, seldom. */
const EXAMPLE_TEXTS = Object.values(EXAMPLES)
  .filter(({ type }) => type !== 'disarm')
  .map((example) => JSON.stringify(example));
const VALUES: unknown[] = [
  0,
  -1,
  1e308,
  -1e308,
  5e-324,
  0.5,
  65536,
  '',
  'right',
  'left',
  'x'.repeat(5000),
  [],
  {},
  null,
  true,
  [[[[]]]],
  { kind: 'hull' },
  'NaN',
  '\u0000',
  '\ud800',
  '__proto__',
  Number.MAX_SAFE_INTEGER,
];

export function hostile(random: Random): [Buffer, boolean] {
  switch (random(8)) {
    case 0: {
      const bytes = Buffer.alloc(random(300));
      for (let i = 0; i < bytes.length; i++) bytes[i] = random(256);
      return [bytes, random(2) === 0];
    }
    case 1: {
      const bytes = Buffer.from(EXAMPLE_TEXTS[random(EXAMPLE_TEXTS.length)]);
      for (let i = 1 + random(3); i > 0; i--) bytes[random(bytes.length)] = random(256);
      return [bytes, false];
    }
    case 2:
      return [Buffer.from(heavy(random)), false];
    case 3:
      return [Buffer.from(JSON.stringify(touch(random))), false];
    case 4:
      if (random(40) === 0) return [Buffer.from(JSON.stringify(EXAMPLES.disarm)), random(2) === 0];
      return [Buffer.from(EXAMPLE_TEXTS[random(EXAMPLE_TEXTS.length)]), random(20) === 0];
    default: {
      const message = JSON.parse(EXAMPLE_TEXTS[random(EXAMPLE_TEXTS.length)]) as Record<string, unknown>;
      for (let i = 1 + random(3); i > 0; i--) change(message, random);
      return [Buffer.from(JSON.stringify(message)), false];
    }
  }
}

/** Its own: what is put into it later must not be in the next message. */
const value = (random: Random): unknown => structuredClone(VALUES[random(VALUES.length)]);

/** Another value, another key, or one less, at some depth. */
function change(node: Record<string, unknown>, random: Random): void {
  const keys = Object.keys(node);
  const key = keys[random(keys.length)];
  if (key === undefined) return;
  const below = node[key];
  if (typeof below === 'object' && below !== null && random(2) === 0) {
    change(below as Record<string, unknown>, random);
    return;
  }
  const kind = random(4);
  if (kind === 0) delete node[key];
  else if (kind === 1) node[`k${random(10)}`] = value(random);
  else node[key] = value(random);
}

const number = (random: Random): number =>
  [0, 1e-9, 0.01, 0.04, -0.03, 1, 10, -10, 1e6][random(9)] * (1 + random(1000) / 1e4);
const vector = (random: Random) => [number(random), number(random), number(random)];

/** A turn, mostly of length 1. */
function turn(random: Random): number[] {
  const parts = [number(random), number(random), number(random), 1];
  const length = random(10) === 0 ? 1 : Math.hypot(...parts);
  return parts.map((x) => x / length);
}

const length = (random: Random): number => Math.min(10, Math.abs(number(random)) + 1e-9);

function convexShape(random: Random, mostPoints: number): object {
  const points = Array.from({ length: 4 + random(mostPoints - 4) }, () =>
    random(10) === 0 ? [0, 0, 0] : vector(random).map((x) => x * (random(2) ? 0.01 : 1)),
  );
  return [
    { kind: 'sphere', radius: length(random) },
    { kind: 'box', size: [length(random), length(random), length(random)] },
    { kind: 'capsule', radius: length(random), length: length(random) },
    { kind: 'cylinder', radius: length(random), length: length(random) },
    { kind: 'halfSpace' },
    { kind: 'hull', points },
    { kind: 'hull', points },
  ][random(7)];
}

/** A touch that may pass every check: any shape, anywhere. */
export function touch(random: Random): object {
  const parts = (): object[] =>
    Array.from({ length: random(18) }, () => ({
      shape: convexShape(random, 70),
      position: vector(random).map((x) => x * 0.1),
      ...(random(2) ? { orientation: turn(random) } : {}),
    }));
  const shape = random(4) === 0 ? { kind: 'compound', parts: parts() } : convexShape(random, 256);
  return {
    type: 'touch',
    hand: 'right',
    layer: `l${random(40)}`,
    shape,
    space: ['palm', 'wrist', 'world'][random(3)],
    position: vector(random).map((x) => x * 0.1),
    orientation: turn(random),
    effort: random(4) === 0 ? 0 : 1,
    friction: random(4) / 2,
    ttlMs: 1000,
  };
}

/** Texts made to hurt a reader. */
export function heavy(random: Random): string {
  const n = 1 + random(16_000);
  switch (random(7)) {
    case 0:
      return '['.repeat(n);
    case 1:
      return '{"a":'.repeat(n / 5);
    case 2:
      return `{"type":"resist","fingers":${'['.repeat(n / 2)}${']'.repeat(n / 2)}}`;
    case 3:
      return `{"type":"${'x'.repeat(n)}"}`;
    case 4:
      return `{"type":"ping","id":${'9'.repeat(n)}}`;
    case 5:
      return `{"type":"subscribe",${Array.from({ length: n / 10 }, (_, i) => `"k${i}":1`).join(',')}}`;
    default:
      return 'x'.repeat(n * 8);
  }
}
