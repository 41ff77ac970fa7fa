import { availableParallelism } from 'node:os';
import { defineConfig } from 'vitest/config';
import { BaseSequencer, type TestSpecification } from 'vitest/node';

const endToEnd = (...names: string[]) => names.map((name) => `tests/end-to-end/${name}.test.ts`);

/** In turned time: as fast as it goes. */
const TURNED_TIME = endToEnd('faults', 'wiper');
/** Mostly waiting, for a wearer or a radio: beside the rooms, which leave them what they need of a processor. */
const WAITING = endToEnd('guided', 'new-builds', 'ble');
/** Browsers, compilers and commands: as many at once as there is work for. */
const WORKING = endToEnd(
  'client-holds',
  'client-vectors',
  'clients',
  'clients-cpp',
  'clients-csharp',
  'clients-grab',
  'clients-packages',
  'clients-python',
  'document-commands',
  'documents',
  'guides',
  'extension',
  'extension-permission',
  'package',
  'page',
  'page-bench',
  'page-failure',
  'page-first-run',
  'page-guide',
  'page-picture',
  'page-plot',
  'page-profile',
  'page-safety',
  'page-servos',
  'profiles',
  'release',
);

/** So that no worker is left with one of them at the end. */
const LONG = [
  'guided',
  'new-builds',
  'end-to-end/ble',
  'page',
  'page-bench',
  'page-guide',
  'page-picture',
  'page-plot',
  'document-commands',
  'release',
  'faults',
  'wiper',
  'sessions',
  'solver',
];

/** Arithmetic alone: nothing is built for them, no clock runs against them, and what fails once fails every time. */
const PURE = [
  'tests/{config,contact,guide,hand,mcap,page,protocol,resistance,sensing}/**/*.test.ts',
  'tests/*.test.ts',
];
const NO_CLOCK_MS = 600_000;

/**
 * Real processes and real time, on a machine that others may use, too: a fault fails every time, a stall does not. What
 * passed only at a later try is listed at the end (tests/flaky-reporter.ts).
 */
const PROCESSES = { globalSetup: ['tests/setup.ts'], retry: process.env.CI ? 2 : 0 };

/** Projects of one group share their workers. */
const BESIDE_WAITING = availableParallelism() + 1;

class LongFirst extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const rank = ({ moduleId }: TestSpecification): number => {
      const place = LONG.findIndex((name) => moduleId.endsWith(`/${name}.test.ts`));
      return place < 0 ? LONG.length : place;
    };
    return (await super.sort(files)).sort((a, b) => rank(a) - rank(b));
  }
}

export default defineConfig({
  test: {
    sequence: { sequencer: LongFirst },
    setupFiles: ['tests/properties.ts'],
    reporters: ['default', './tests/flaky-reporter.ts'],
    projects: [
      {
        extends: true,
        test: {
          name: 'pure',
          include: PURE,
          testTimeout: NO_CLOCK_MS,
          maxWorkers: BESIDE_WAITING,
          // Files share what they import, which is most of the time otherwise.
          isolate: false,
          sequence: { groupOrder: 0 },
        },
      },
      {
        extends: true,
        test: {
          ...PROCESSES,
          name: 'rooms',
          include: ['tests/!(end-to-end|openxr)/**/*.test.ts', ...TURNED_TIME],
          exclude: PURE,
          testTimeout: 20_000,
          maxWorkers: BESIDE_WAITING,
          isolate: false,
          sequence: { groupOrder: 0 },
        },
      },
      {
        // Real processes and real time: two at once, each of which takes half of a processor or less.
        extends: true,
        test: {
          ...PROCESSES,
          name: 'end-to-end',
          include: ['tests/end-to-end/**/*.test.ts'],
          exclude: [...TURNED_TIME, ...WAITING, ...WORKING],
          maxWorkers: 2,
          testTimeout: 60_000,
          sequence: { groupOrder: 1 },
        },
      },
      {
        // Programs of their own that mostly wait for each other.
        extends: true,
        test: {
          retry: PROCESSES.retry,
          name: 'openxr',
          include: process.platform === 'linux' ? ['tests/openxr/**/*.test.ts'] : [],
          globalSetup: ['tests/setup.ts', 'tests/openxr/setup.ts'],
          maxWorkers: 2,
          testTimeout: 60_000,
          hookTimeout: 300_000,
          sequence: { groupOrder: 3 },
        },
      },
      {
        extends: true,
        test: {
          ...PROCESSES,
          name: 'waiting',
          include: WAITING,
          maxWorkers: BESIDE_WAITING,
          testTimeout: 60_000,
          sequence: { groupOrder: 0 },
        },
      },
      {
        extends: true,
        test: {
          ...PROCESSES,
          name: 'working',
          include: WORKING,
          maxWorkers: 3,
          testTimeout: 60_000,
          sequence: { groupOrder: 2 },
        },
      },
    ],
  },
});
