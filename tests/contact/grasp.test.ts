import { describe, expect, it } from 'vitest';
import { createFingerContact, type FingerContact } from '../../src/contact/finger-contact.js';
import { createGrasp, opposed, updateGrasp } from '../../src/contact/grasp.js';
import { between, randomTurn, seeded } from './random.js';

type Vector = [number, number, number];
const dot = (a: ArrayLike<number>, b: ArrayLike<number>): number =>
  Array.from(a).reduce((sum, x, i) => sum + x * b[i], 0);
const cross = ([a, b, c]: Vector, [x, y, z]: Vector): Vector => [b * z - c * y, c * x - a * z, a * y - b * x];
const unit = (v: Vector): Vector => v.map((x) => x / Math.hypot(...v)) as Vector;

const contactAt = (point: Vector, normal: Vector): FingerContact =>
  Object.assign(createFingerContact(), {
    stop: 0.5,
    depth: 0,
    point: Float64Array.from(point),
    normal: Float64Array.from(normal),
  });

/**
 * Forces and moments that a contact can exert: edges of its friction cone, each with both twists about the normal.
 * @param twist 0: a hard finger, which resists no turning about its normal
 */
function wrenches(
  { point, normal }: FingerContact,
  friction: number,
  sizeM: number,
  twist: number,
): number[][] {
  const into = Array.from(normal, (x) => -x) as Vector;
  const aside = unit(cross(into, Math.abs(into[0]) < 0.7 ? [1, 0, 0] : [0, 1, 0]));
  const other = cross(into, aside);
  const found: number[][] = [];
  for (let edge = 0; edge < 48; edge++) {
    const angle = (2 * Math.PI * edge) / 48;
    const force = [0, 1, 2].map(
      (i) => into[i] + friction * (Math.cos(angle) * aside[i] + Math.sin(angle) * other[i]),
    ) as Vector;
    const moment = cross(Array.from(point) as Vector, force);
    for (const turn of twist > 0 ? [-twist, twist] : [0]) {
      found.push([...force, ...moment.map((x, i) => x / sizeM + turn * into[i])]);
    }
  }
  return found;
}

/**
 * Force closure by numbers: whether the origin lies within the convex hull of all wrenches, by the Frank-Wolfe search for
 * its least point (Gilbert 1966). That is the definition of the textbooks (Murray, Li & Sastry, A Mathematical Introduction
 * to Robotic Manipulation, 1994, 5.3; from memory), and shares nothing with the rule under test.
 * @returns undefined if it is too near to tell
 */
function closes(all: number[][]): boolean | undefined {
  const nearest = [...all[0]];
  for (let step = 0; step < 30_000; step++) {
    let least = Number.POSITIVE_INFINITY;
    let support = all[0];
    for (const wrench of all) {
      const along = dot(wrench, nearest);
      if (along >= least) continue;
      least = along;
      support = wrench;
    }
    // All wrenches push to one side: something remains that they cannot resist.
    if (least > 1e-9) return false;
    const square = dot(nearest, nearest);
    if (square < 1e-8) return true;
    const way = support.map((x, i) => x - nearest[i]);
    const share = Math.min(1, -dot(nearest, way) / dot(way, way));
    for (let i = 0; i < 6; i++) nearest[i] += share * way[i];
  }
  return undefined;
}

describe('two contacts that oppose each other', () => {
  it('close around any force if they are opposed, and cannot be in balance if not, for random contacts', () => {
    const random = seeded(17);
    const counts = { yes: 0, no: 0, near: 0 };
    for (let number = 0; number < 300; number++) {
      const friction = between(random, 0.2, 1.2);
      const sizeM = between(random, 0.02, 0.1);
      const [qx, qy, qz, qw] = randomTurn(random);
      // Two places on either side of a thing, with normals that lean from the line between them.
      const line: Vector = unit([
        2 * (qx * qy - qz * qw),
        1 - 2 * (qx * qx + qz * qz),
        2 * (qy * qz + qx * qw),
      ]);
      const lean = (along: number): Vector => {
        const aside = unit(cross(line, unit([random() - 0.5, random() - 0.5, random() - 0.5])));
        const angle = between(random, 0, 1.8 * Math.atan(friction));
        return line.map((x, i) => along * Math.cos(angle) * x + Math.sin(angle) * aside[i]) as Vector;
      };
      const a = contactAt(line.map((x) => (-x * sizeM) / 2) as Vector, lean(-1));
      const b = contactAt(line.map((x) => (x * sizeM) / 2) as Vector, lean(1));
      // The cone by its edges lies a little inside of the round one.
      const tolerance = 0.04;
      const inside = opposed(a, b, friction * (1 - tolerance));
      const outside = !opposed(a, b, friction * (1 + tolerance));
      if (!inside && !outside) {
        counts.near++;
        continue;
      }
      // Enough for fingers whose skin resists turning; and without it not even hard fingers could be in balance.
      const twist = inside ? 0.2 : 0;
      const numeric = closes([
        ...wrenches(a, friction, sizeM, twist),
        ...wrenches(b, friction, sizeM, twist),
      ]);
      if (numeric === undefined) {
        counts.near++;
        continue;
      }
      expect(numeric, `case ${number}`).toBe(inside);
      if (inside) counts.yes++;
      else counts.no++;
    }
    expect(counts.yes).toBeGreaterThan(60);
    expect(counts.no).toBeGreaterThan(60);
    expect(counts.near).toBeLessThan(75);
  });

  it('are not two on the same side, nor at one place, nor without friction off the line', () => {
    const left = contactAt([-0.02, 0, 0], [-1, 0, 0]);
    expect(opposed(left, contactAt([0.02, 0, 0], [1, 0, 0]), 0.3)).toBe(true);
    expect(opposed(left, contactAt([-0.02, 0.03, 0], [-1, 0, 0]), 1)).toBe(false);
    expect(opposed(left, contactAt([-0.02, 0, 0], [1, 0, 0]), 1)).toBe(false);
    expect(opposed(left, contactAt([0.02, 0.005, 0], [1, 0, 0]), 0)).toBe(false);
    expect(opposed(left, contactAt([0.02, 0, Number.NaN], [1, 0, 0]), 1)).toBe(false);
  });
});

describe('a grasp', () => {
  const thing = () => [
    contactAt([-0.02, 0, 0], [-1, 0, 0]),
    contactAt([0.02, 0, 0], [1, 0, 0]),
    ...Array.from({ length: 3 }, createFingerContact),
  ];

  it('begins at the surface and ends 2 mm from it', () => {
    const grasp = createGrasp();
    const contacts = thing();
    contacts[0].depth = -1e-3;
    expect(updateGrasp(grasp, contacts, 0.6)).toBe(true);
    expect([...grasp.fingers]).toEqual([0, 1, 0, 0, 0]);
    expect(grasp.carried).toBe(false);
    contacts[0].depth = -1e-4;
    expect(updateGrasp(grasp, contacts, 0.6)).toBe(true);
    expect(grasp).toMatchObject({ carried: true });
    contacts[0].depth = -1.5e-3;
    expect(updateGrasp(grasp, contacts, 0.6)).toBe(false);
    contacts[0].depth = -2.5e-3;
    expect(updateGrasp(grasp, contacts, 0.6)).toBe(true);
    expect(grasp.carried).toBe(false);
  });

  it('keeps what it carries although the contacts wander a little', () => {
    const grasp = createGrasp();
    const contacts = thing();
    const at = (angle: number) => contacts[1].normal.set([Math.cos(angle), Math.sin(angle), 0]);
    const cone = Math.atan(0.6);
    at(cone - 0.01);
    updateGrasp(grasp, contacts, 0.6);
    expect(grasp.carried).toBe(true);
    at(cone + 0.05);
    expect(updateGrasp(grasp, contacts, 0.6)).toBe(false);
    at(cone + 0.2);
    expect(updateGrasp(grasp, contacts, 0.6)).toBe(true);
    at(cone + 0.05);
    expect(updateGrasp(grasp, contacts, 0.6)).toBe(false);
    expect(grasp.carried).toBe(false);
  });

  it('is none of fingers whose pose is not a number', () => {
    const grasp = createGrasp();
    const contacts = thing();
    for (const contact of contacts) contact.depth = Number.NaN;
    expect(updateGrasp(grasp, contacts, 0.6)).toBe(false);
    expect(grasp).toMatchObject({ carried: false });
  });
});
