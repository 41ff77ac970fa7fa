import { expect, it } from 'vitest';
import { openFits, type SavedFit } from '../../src/config/fit-file.js';
import type { LiveGlove } from '../../src/glove/glove.js';
import { keep, keepFound } from '../../src/glove/guide-requests.js';
import { fitsOf, undoFit } from '../../src/glove/kept-fits.js';
import type { Finding } from '../../src/guide/report.js';

/** A glove with fits in memory, and nothing else. */
function gloveWithFits() {
  let refits = 0;
  const found = { accepted: true, keptAt: '' };
  const guide: Partial<Record<'fit' | 'stops' | 'mount', Finding>> = {};
  const glove = {
    description: { hand: 'right', name: 'mine' },
    fits: openFits(undefined),
    feel: { found },
    guide,
    async refit() {
      refits++;
    },
  } as unknown as LiveGlove;
  const feel = (effort: number): SavedFit['feel'] => ({ tried: 'effort', chosen: [3, 1], effort });
  return {
    glove,
    found,
    guide,
    refits: () => refits,
    keepFeel: (effort: number, person = 'Kim') => keep(glove, person, { feel: feel(effort) }).savedAt,
    keepSensors: (person = 'Kim') => keep(glove, person, { channels: [], residualDeg: 1 }).savedAt,
    inUse: () =>
      fitsOf(glove)
        .fits.filter(({ inUse }) => inUse)
        .map(({ kind, savedAt }) => ({ kind, savedAt })),
  };
}

it('takes back the fit that is meant, whatever was kept since then, and by whom', async () => {
  const { glove, found, refits, keepFeel, keepSensors, inUse } = gloveWithFits();
  const feel = keepFeel(0.4);
  found.keptAt = feel;
  const sensors = keepSensors();
  const others = keepFeel(0.9, 'Ada');
  await undoFit(glove, feel);
  expect(glove.fits?.entries).toMatchObject([
    { savedAt: feel, undone: true },
    { savedAt: sensors },
    { savedAt: others },
  ]);
  expect(glove.fits?.entries.slice(1).some(({ undone }) => undone)).toBe(false);
  expect(refits()).toBe(1);
  // What was found can be kept again.
  expect(found).toEqual({ accepted: false });
  glove.fits!.person = 'Kim';
  expect(inUse()).toEqual([{ kind: 'sensors', savedAt: sensors }]);
});

it('takes back the newest of the present wearer where none is named', async () => {
  const { glove, found, keepFeel, keepSensors, inUse } = gloveWithFits();
  const feel = keepFeel(0.4);
  found.keptAt = feel;
  keepSensors();
  await undoFit(glove, undefined);
  expect(inUse()).toEqual([{ kind: 'feel', savedAt: feel }]);
  expect(found.accepted).toBe(true);
  await undoFit(glove, undefined);
  await expect(undoFit(glove, undefined)).rejects.toThrow('There is no fit of the right glove to undo.');
});

it.for<['fit' | 'stops' | 'mount', Parameters<typeof keep>[2]]>([
  ['fit', { channels: [], residualDeg: 1 }],
  ['stops', { actuators: [] }],
  [
    'mount',
    { mount: { pose: [0, 0, 0, 0, 0, 0, 1], by: 'touch', rotationDeg: 1, translationM: 0, residualM: 0 } },
  ],
])('no longer says that what was found is in use, once it is taken back: %s', async ([name, what]) => {
  const { glove, guide, inUse, keepFeel } = gloveWithFits();
  const finding: Finding = { person: 'Kim', accepted: false };
  guide[name] = finding;
  const accept = () => keepFound(glove, finding, () => what);
  await accept();
  await accept();
  expect(glove.fits?.entries).toHaveLength(1);
  keepFeel(0.4);
  // Another one, kept later, is not it.
  await undoFit(glove, undefined);
  expect(finding.accepted).toBe(true);
  await undoFit(glove, undefined);
  expect(finding).toEqual({ person: 'Kim', accepted: false });
  await accept();
  expect(inUse()).toEqual([{ kind: expect.anything(), savedAt: finding.keptAt }]);
});

it('says in one line why not, and changes nothing then', async () => {
  const { glove, refits, keepFeel } = gloveWithFits();
  const first = keepFeel(0.4);
  const second = keepFeel(0.3);
  // Both within a millisecond, and yet told apart.
  expect(second).not.toBe(first);
  await expect(undoFit(glove, first)).rejects.toThrow(
    `Since then the feel of Kim was kept again, at ${second}: take that back first.`,
  );
  await expect(undoFit(glove, '2020-01-01T00:00:00.000Z')).rejects.toThrow(
    'No fit of the right glove was kept at 2020-01-01T00:00:00.000Z.',
  );
  expect(refits()).toBe(0);
  await undoFit(glove, second);
  await expect(undoFit(glove, second)).rejects.toThrow('That was taken back already');
  await undoFit(glove, first);
  expect(fitsOf(glove).fits.every(({ undone, inUse }) => undone && !inUse)).toBe(true);
});
