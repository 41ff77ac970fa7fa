import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { fitFileOf, openFits, type SavedFit } from '../../src/config/fit-file.js';
import { mergeFit } from '../../src/guide/merge-fit.js';
import { channel } from '../sensing/glove-signals.js';

let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-fits-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const saved = (person: string, open: number, more: Partial<SavedFit> = {}): SavedFit => ({
  savedAt: '2026-01-02T03:04:05.000Z',
  person,
  glove: 'mine',
  hand: 'right',
  channels: [{ role: 'index.curl', bits: 12, open, closed: 3000, residualDeg: 1, poses: 6 }],
  residualDeg: 1,
  ...more,
});
const openOf = (shelf: ReturnType<typeof openFits>, glove = 'mine') =>
  shelf.current(glove, 'right').channels?.channels?.[0].open;

describe('fits', () => {
  it('lie beside the profile', () => {
    expect(fitFileOf('/a/my-glove.yaml')).toBe('/a/my-glove.fits.json');
    expect(fitFileOf('glove.YML')).toBe('glove.fits.json');
    expect(fitFileOf('glove')).toBe('glove.fits.json');
  });

  it('are kept with their history, for several people, and can be undone one by one', () => {
    const file = join(folder, 'a.fits.json');
    const shelf = openFits(file);
    expect(shelf.current('mine', 'right')).toEqual({ channels: undefined, hand: undefined });
    shelf.add(saved('Kim', 1));
    shelf.add(saved('Kim', 2));
    shelf.add(saved('Ola', 3));
    expect(openOf(shelf)).toBe(3);
    expect(openOf(openFits(file))).toBe(3);
    expect(openOf(openFits(file, 'Kim'))).toBe(2);
    expect(openOf(openFits(file, 'Kim'), 'other')).toBeUndefined();

    const kim = openFits(file, 'Kim');
    expect(kim.undo('mine', 'right')?.channels?.[0].open).toBe(2);
    expect(openOf(kim)).toBe(1);
    expect(openOf(openFits(file, 'Kim'))).toBe(1);
    expect(kim.undo('mine', 'right')).toBeDefined();
    expect(kim.undo('mine', 'right')).toBeUndefined();
    expect(openOf(kim)).toBeUndefined();
    // Nothing is lost, and nobody else's is touched.
    expect(openFits(file).entries).toHaveLength(3);
    expect(openOf(openFits(file, 'Ola'))).toBe(3);
  });

  it('of a mount add to those of sensors, per person and hand, and are undone by themselves', () => {
    const file = join(folder, 'mount.fits.json');
    const shelf = openFits(file);
    const of = (person: string, x: number, hand: 'left' | 'right' = 'right') =>
      saved(person, 0, {
        hand,
        channels: undefined,
        residualDeg: undefined,
        mount: {
          pose: [x, 0, 0.1, 0, 0, 0, 1],
          by: 'touch',
          rotationDeg: 3,
          translationM: 0.005,
          residualM: 0.001,
        },
      });
    const xOf = (one: ReturnType<typeof openFits>, hand = 'right') =>
      one.current('mine', hand).mount?.mount?.pose[0];
    shelf.add(saved('Kim', 1));
    shelf.add(of('Kim', 0.01));
    shelf.add(of('Kim', 0.02));
    shelf.add(of('Kim', 0.03, 'left'));
    shelf.add(of('Ola', 0.04));
    const kim = openFits(file, 'Kim');
    expect([xOf(kim), xOf(kim, 'left'), xOf(openFits(file, 'Ola')), openOf(kim)]).toEqual([
      0.02, 0.03, 0.04, 1,
    ]);
    expect(kim.undo('mine', 'right')?.mount?.pose[0]).toBe(0.02);
    expect([xOf(kim), xOf(kim, 'left'), openOf(kim)]).toEqual([0.01, 0.03, 1]);
  });

  it('refuses a file that is not one, in one clear line', () => {
    const file = join(folder, 'b.fits.json');
    const refuse = (text: string, line: RegExp) => {
      writeFileSync(file, text);
      expect(() => openFits(file)).toThrow(line);
    };
    refuse('{', /b\.fits\.json: it is not JSON\./);
    refuse('{"fits":2,"entries":[]}', /\/fits/);
    refuse(
      JSON.stringify({ fits: 1, entries: [{ ...saved('Kim', 1), hand: 'third' }] }),
      /\/entries\/0\/hand/,
    );
  });

  it('says so when it cannot write', () => {
    const shelf = openFits(join(folder, 'missing', 'x.fits.json'));
    expect(() => shelf.add(saved('Kim', 1))).toThrow(/x\.fits\.json: it cannot be written/);
    expect(shelf.entries).toEqual([]);
  });

  it('leaves a whole file in place', () => {
    const file = join(folder, 'c.fits.json');
    openFits(file).add(saved('Kim', 1));
    expect(JSON.parse(readFileSync(file, 'utf8'))).toMatchObject({ fits: 1, entries: [{ person: 'Kim' }] });
  });
});

describe('a fit over a profile', () => {
  const glove = {
    channels: [
      channel('index.curl', { open: 10, closed: 20, inverted: true, centre: 15, curve: [[12, 0.5]] }),
      channel('ring.curl', { open: 10, closed: 20 }),
    ],
  };
  it('replaces ends, centre, curve and inversion of its channels, and nothing else', () => {
    const merged = mergeFit(glove, [{ role: 'index.curl', bits: 12, open: 100, closed: 50 }]);
    expect(merged.channels[0]).toEqual({
      role: 'index.curl',
      bits: 12,
      open: 100,
      closed: 50,
      inverted: false,
    });
    expect(merged.channels[1]).toBe(glove.channels[1]);
  });
  it('passes over counts of another converter', () => {
    const merged = mergeFit(glove, [{ role: 'index.curl', bits: 10, open: 100, closed: 50 }]);
    expect(merged.channels).toEqual(glove.channels);
  });
});
