import { availableParallelism } from 'node:os';
import { defineConfig } from 'vitest/config';
import { BaseSequencer, type TestSpecification } from 'vitest/node';

const endToEnd = (...names: string[]) => names.map((name) => `tests/end-to-end/${name}.test.ts`);

/** In turned time: as fast as it goes, and the same however busy the machine is. */
const TURNED_TIME = endToEnd('fault-table', 'faults', 'grasp-hold', 'new-builds', 'servo-faults', 'wiper');
/**
 * Mostly waiting, for a wearer, a radio or a broker, and patient: beside the rooms, which leave them what they need of a
 * processor.
 */
const WAITING = endToEnd(
  'actuator-fit',
  'arming',
  'ble',
  'feel',
  'fleet',
  'guided',
  'mount-fit',
  'new',
  'page-feel',
  'page-mount',
  'page-tasks',
  'sensor-offer',
);
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
  'demos',
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

/** How long files take that take long, s: so that none is left with one of them at the end. */
const SECONDS: Record<string, number> = {
  'end-to-end/page-feel': 60,
  'end-to-end/fleet': 55,
  'end-to-end/sensor-offer': 50,
  'end-to-end/new': 45,
  'end-to-end/guided': 40,
  'end-to-end/mount-fit': 35,
  'end-to-end/page-tasks': 35,
  'end-to-end/arming': 30,
  'end-to-end/page-mount': 30,
  'end-to-end/actuator-fit': 25,
  'end-to-end/feel': 20,
  'end-to-end/ble': 15,
  'end-to-end/letting-go': 50,
  'end-to-end/page-cost': 30,
  'end-to-end/touch': 20,
  'end-to-end/demos': 60,
  'end-to-end/page': 60,
  'end-to-end/page-guide': 60,
  'end-to-end/page-bench': 50,
  'end-to-end/page-picture': 40,
  'end-to-end/page-plot': 40,
  'end-to-end/document-commands': 40,
  'end-to-end/release': 40,
  'end-to-end/new-builds': 40,
  'end-to-end/fault-table': 20,
  'end-to-end/faults': 15,
  'end-to-end/wiper': 15,
  'commands/sessions': 15,
  'commands/install': 15,
  'commands/firmware': 15,
  'firmware/avr': 15,
  'firmware/avr-hang': 10,
  'firmware/esp32': 15,
  'contact/solver': 10,
  'guide/check': 8,
  'guide/from-use/learn': 15,
  'hand/fit-mount': 12,
  'resistance/invariants': 12,
};
const OTHERS_S = 2;

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
const PROCESSES = {
  globalSetup: ['tests/setup.ts'],
  retry: process.env.CI ? 2 : 0,
  // Browsers and services are started there.
  hookTimeout: 60_000,
  // Files of a worker share what they import, which takes a second of a processor each otherwise.
  isolate: false,
};

const PROCESSORS = availableParallelism();
/** Files that mostly wait, at once. */
const WAITING_AT_ONCE = 2;
/** Projects of one group share their workers. */
const BESIDE_WAITING = PROCESSORS + WAITING_AT_ONCE;

/** Files in the order in which they would begin if those that wait had workers of their own, the longest first. */
class BesideWaiting extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const secondsOf = ({ moduleId }: TestSpecification): number =>
      SECONDS[/\/tests\/(.*)\.test\.ts$/.exec(moduleId)?.[1] ?? ''] ?? OTHERS_S;
    const sorted = (await super.sort(files)).sort((a, b) => secondsOf(b) - secondsOf(a));
    const waits = ({ project }: TestSpecification): boolean => project.name === 'waiting';
    const lanes = [true, false].map((waiting) => ({
      files: sorted.filter((file) => waits(file) === waiting),
      freeAtS: Array<number>(waiting ? WAITING_AT_ONCE : PROCESSORS).fill(0),
    }));
    const order: TestSpecification[] = [];
    for (;;) {
      const left = lanes.filter((lane) => lane.files.length > 0);
      if (left.length === 0) return order;
      const next = left.reduce((a, b) => (Math.min(...b.freeAtS) < Math.min(...a.freeAtS) ? b : a));
      const file = next.files.shift()!;
      next.freeAtS[next.freeAtS.indexOf(Math.min(...next.freeAtS))] += secondsOf(file);
      order.push(file);
    }
  }
}

export default defineConfig({
  test: {
    sequence: { sequencer: BesideWaiting },
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
          isolate: false,
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
