import type { ConvexShape } from '../../src/protocol/messages.js';

/** Seeded random numbers in [0, 1) (mulberry32, public domain). */
export function seeded(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let x = state;
    x = Math.imul(x ^ (x >>> 15), x | 1);
    x ^= x + Math.imul(x ^ (x >>> 7), x | 61);
    return ((x ^ (x >>> 14)) >>> 0) / 4294967296;
  };
}

export const between = (random: () => number, low: number, high: number): number =>
  low + random() * (high - low);

/** Uniform over all turns (Shoemake, Graphics Gems III, 1992). */
export function randomTurn(random: () => number): [number, number, number, number] {
  const u = random();
  const a = 2 * Math.PI * random();
  const b = 2 * Math.PI * random();
  const p = Math.sqrt(1 - u);
  const q = Math.sqrt(u);
  return [p * Math.sin(a), p * Math.cos(a), q * Math.sin(b), q * Math.cos(b)];
}

export const KINDS = ['sphere', 'box', 'capsule', 'cylinder', 'halfSpace', 'hull'] as const;

/** A shape of the size of things that hands hold, metres. */
export function randomShape(random: () => number, kind: (typeof KINDS)[number]): ConvexShape {
  const length = (low: number, high: number) => between(random, low, high);
  switch (kind) {
    case 'sphere':
      return { kind, radius: length(0.003, 0.08) };
    case 'box':
      return { kind, size: [length(0.004, 0.15), length(0.004, 0.15), length(0.004, 0.15)] };
    case 'capsule':
    case 'cylinder':
      return { kind, radius: length(0.003, 0.05), length: length(0.004, 0.2) };
    case 'halfSpace':
      return { kind };
    case 'hull':
      return {
        kind,
        points: Array.from({ length: 4 + Math.floor(random() * 9) }, () => [
          length(-0.05, 0.05),
          length(-0.05, 0.05),
          length(-0.05, 0.05),
        ]),
      };
  }
}
