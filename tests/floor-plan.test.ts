import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import {
  circles,
  type Imports,
  importsOf,
  impurities,
  readImports,
  slowObjects,
  upwards,
} from './floor-plan.js';

const house = readImports('src');

describe('the floor plan', () => {
  it('is read from the files', () => {
    expect(house.size).toBeGreaterThan(200);
    expect(house.get('service.ts')).toContainEqual({ of: 'stream/server.ts', typeOnly: false });
    expect(house.get('glove/glove.ts')).toContainEqual({ of: 'link/link.ts', typeOnly: true });
  });

  it('has no import that runs upwards, and no file outside the rooms', () => {
    expect(upwards(house)).toEqual([]);
  });

  it('keeps input, output, clock and logger out of the pure rooms', () => {
    expect(impurities(house)).toEqual([]);
  });

  it('has no circle', () => {
    expect(circles(house)).toEqual([]);
  });

  it('has no accessor of an object literal where samples pass', () => {
    const slow = [...house.keys()].filter((file) =>
      slowObjects(file, readFileSync(join('src', file), 'utf8')),
    );
    expect(slow).toEqual([]);
  });
});

/** The house with one more import. */
const adding = (file: string, statement: string): Imports =>
  new Map([...house, [file, [...(house.get(file) ?? []), ...importsOf(file, `${statement}\n`)]]]);

describe('a forbidden import is found', () => {
  it.each([
    ['hand/joints.ts', "import { nowUs } from '../clock.js';"],
    ['contact/touches.ts', "import { readFileSync } from 'node:fs';"],
    ['sensing/sensing.ts', "import { pino } from 'pino';"],
    ['resistance/governor.ts', "import { logEvent } from '../log/events.js';"],
    ['resistance/guards.ts', "const { connect } = await import('node:net');"],
    ['sensing/drift.ts', "import { type Link, openLink } from '../link/open-link.js';"],
  ])('in %s: %s', (file, statement) => {
    expect(impurities(adding(file, statement))).toHaveLength(1);
  });

  it.each([
    ['resistance/governor.ts', "import type { Glove } from '../glove/view.js';"],
    ['link/link.ts', "export * from '../stream/server.js';"],
    ['protocol/messages.ts', "import '../main.js';"],
    ['somewhere/else.ts', "import { FINGERS } from '../hand/joints.js';"],
  ])('upwards, from %s: %s', (file, statement) => {
    expect(upwards(adding(file, statement))).toHaveLength(1);
  });

  it('in a circle, also of types alone', () => {
    const round = adding('glove/view.ts', "import type { LiveGlove } from './glove.js';");
    expect(circles(round).join()).toContain('glove/glove.ts');
  });

  it('and one in a comment, or of a type into a pure room, is none', () => {
    const harmless = `/* import 'node:fs'; */\n// import 'node:fs';\nimport type { Logger } from 'pino';`;
    expect(impurities(adding('hand/joints.ts', harmless))).toEqual([]);
  });
});

describe('an accessor where samples pass', () => {
  const literal = 'const a = {\n  get b() {\n    return 1;\n  },\n};\n';
  it('is found in an object literal', () => {
    expect(slowObjects('sensing/sensing.ts', literal)).toBe(true);
  });

  it('is none in a class, or elsewhere', () => {
    expect(slowObjects('sensing/sensing.ts', 'class A {\n  get b() {\n    return 1;\n  }\n}\n')).toBe(false);
    expect(slowObjects('commands/run.ts', literal)).toBe(false);
  });
});
