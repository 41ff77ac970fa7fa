import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, test, vi } from 'vitest';
import type { DeviceState } from '../../src/link/codec.js';
import { createFrameCodec } from '../../src/link/frames.js';
import { LOOP_HUNG_MS } from '../../src/protocol/link-table.js';
import {
  BOARD_KINDS,
  type BoardEvent,
  type BoardKind,
  buildBoard,
  CXX,
  flagsOf,
  runBoard,
  SKETCH,
} from './esp32-board.js';

/*
 * The ESP32 sketch, without an ESP32: compiled against declarations of both generations of its core, and run on a
 * stand-in for the board. That shows what the sketch asks of a board and when; not that a board does as asked.
 */
vi.setConfig({ testTimeout: 60_000, hookTimeout: 120_000 });

const SERVO_PINS = ['18', '21', '22', '23', '25'];
const SERVOS = SERVO_PINS.length;
const FREE_US = 900;
const PULSE_PERIOD_MS = 20;
const LONGEST_PULSE_MS = 2;
const TICK_MS = 5;
/** The pulse that had begun when the interrupt came still ends. */
const LET_GO_MS = LOOP_HUNG_MS + TICK_MS + LONGEST_PULSE_MS;
const PHASES = 20;

/** What the compiler has to say; empty when it is content. */
function complaints(kind: BoardKind, more: string[] = []): string {
  const args = ['-fsyntax-only', '-std=c++11', '-Wall', '-Wextra', '-Werror', ...flagsOf(kind), ...more];
  const run = spawnSync(CXX, [...args, '-x', 'c++', SKETCH], { encoding: 'utf8' });
  return run.stdout + run.stderr;
}

describe.each(BOARD_KINDS)('with version $version of the ESP32 core and $link', (kind) => {
  let program = '';
  beforeAll(async () => {
    program = await buildBoard(kind);
  });

  test('the sketch compiles without a warning', () => {
    expect(complaints(kind)).toBe('');
  });

  test("calls of the other generation's timer and watchdog do not compile", () => {
    const other = kind.version === '2' ? '3' : '2';
    const said = complaints(kind, [`-DSHIM_GENERATION=${other}`]);
    for (const call of ['timerBegin', 'timerAttachInterrupt', 'timerAlarm', 'esp_task_wdt_']) {
      expect(said).toMatch(new RegExp(`error: .*${call}`));
    }
  });

  const run = (...commands: string[]) => runBoard(program, ['setup 0', 'run 100000', ...commands]);

  test('servo pins go low before anything else, and the first pulse lets go', () => {
    const events = run();
    const first = events.slice(0, 2 * SERVOS).map(({ what, values }) => [what, ...values].join(' '));
    expect(first).toEqual(SERVO_PINS.flatMap((pin) => [`output ${pin}`, `level ${pin} 0`]));
    const pulses = pulsesOf(events);
    expect(pulses.length).toBeGreaterThanOrEqual(4 * SERVOS);
    for (const { us } of pulses) expect(Math.abs(us - FREE_US)).toBeLessThan(2);
  });

  test('the watchdog behind it gets its time said, and watches the loop', () => {
    for (const before of ['on', 'off']) {
      const events = runBoard(program, [`watchdog ${before}`, 'setup 0', 'run 100000', 'stats']);
      const said = events.filter(({ what }) => what.startsWith('wdt-'));
      const verb = kind.version === '3' && before === 'on' ? 'wdt-reconfigure' : 'wdt-init';
      // Whole seconds, or milliseconds and no idle task; a restart in either case.
      const values = kind.version === '2' ? ['1', '1'] : ['500', '0', '1'];
      expect(said.map(({ what, values }) => [what, ...values])).toEqual([
        [verb, ...values],
        ['wdt-watches', 'this'],
      ]);
      expect(Number(events.at(-1)!.values[0])).toBeGreaterThan(100);
    }
  });

  test('a loop that hangs: every finger is let go, at whatever moment', () => {
    const outcomes = Array.from({ length: PHASES }, (_, phase) => {
      const events = run(
        ...hold(),
        `run ${(phase * 1000 * PULSE_PERIOD_MS) / PHASES}`,
        ...hold(),
        'hang 500000',
      );
      return letGo(events, 'hangs');
    });
    const worstMs = Math.max(...outcomes.map(({ heldMs }) => heldMs));
    console.log(
      `ESP32 core ${kind.version}, ${kind.link}, on the stand-in: last held pulse ends ${worstMs.toFixed(1)} ms ` +
        `after the loop hung, worst of ${PHASES}`,
    );
    expect(worstMs).toBeLessThan(LET_GO_MS);
    // By pulses that let go, which then go on.
    for (const { freed, cut } of outcomes) {
      expect(cut).toBe(false);
      expect(Math.min(...freed)).toBeGreaterThan(10);
    }
  });

  test('a write that blocks: the fingers are let go meanwhile, and can be held again after it', () => {
    // Something is written within every 5 ms.
    const events = run(...hold(), 'block 450000', 'run 500000', ...hold(), 'run 60000', 'run 1000000');
    const { heldMs, freed, cut } = letGo(events, 'blocked');
    expect(cut).toBe(false);
    expect(Math.min(...freed)).toBeGreaterThan(5);
    // Of the first hold alone; the second begins when the write has ended.
    const blockedUs = events.find(({ what }) => what === 'blocked')!.us;
    const early = pulsesOf(events).filter(({ endUs }) => endUs > blockedUs && endUs < blockedUs + 450_000);
    const last = early.findLast(isHeld)!;
    expect((last.endUs - blockedUs) / 1000).toBeLessThan(LET_GO_MS);
    expect(heldMs).toBeGreaterThan(450);
    // Freed when it was back; and freed again because nobody renewed the second hold.
    expect(statesOf(events).at(-1)).toMatchObject({ watchdogTrips: 2 });
  });

  test('with no task scheduled any more the pulses end, and a loop that comes back restarts the board', () => {
    const events = run(...hold(), 'tasks off', 'hang 300000', 'run 1000');
    const { heldMs, freed, cut } = letGo(events, 'hangs');
    expect(freed).toEqual(SERVO_PINS.map(() => 0));
    expect(cut).toBe(true);
    expect(heldMs).toBeLessThan(LOOP_HUNG_MS + PULSE_PERIOD_MS + 3 * TICK_MS);
    for (const { what, values } of events) if (what === 'cut') expect(values[1]).toBe('0');
    expect(events.at(-1)!.what).toBe('restart');
    // While it hangs, nobody puts the watchdog off: on a board that has restarted it by then.
    const fed = (commands: string[]) => Number(run(...commands, 'stats').at(-1)!.values[0]);
    expect(fed(['hang 300000'])).toBe(fed([]));
  });
});

test('a flood keeps neither the core from its time nor a finger held', async () => {
  for (const kind of BOARD_KINDS.filter(({ link }) => link === 'LINK_SERIAL')) {
    const program = await buildBoard(kind);
    const events = runBoard(program, [
      'setup 0',
      'run 100000',
      ...hold(),
      'flood 600000',
      'run 600000',
      'stats',
    ]);
    const { heldMs, cut } = letGo(events, 'sent');
    expect(cut).toBe(false);
    // The watchdog for silence, 250 ms after the last message; not the loop's.
    expect(heldMs).toBeLessThan(450);
    expect(heldMs).toBeGreaterThan(200);
    expect(Number(events.at(-1)!.values[0])).toBeGreaterThan(1000);
  }
});

function hold(validForMs = 1000): string[] {
  const codec = createFrameCodec({ hello() {}, samples() {}, state() {}, pong() {}, note() {} });
  const stops = new Uint16Array(SERVOS).map((_, i) => 1000 + 12_000 * i);
  const bytes = codec.resist(validForMs, stops, new Uint8Array(SERVOS).fill(255), SERVOS);
  return [`send ${Buffer.from(bytes).toString('hex')}`, 'run 30000'];
}

interface Pulse {
  pin: string;
  us: number;
  endUs: number;
}

const pulsesOf = (events: readonly BoardEvent[]): Pulse[] =>
  events
    .filter(({ what }) => what === 'pulse')
    .map(({ us, values }) => ({ pin: values[0]!, us: Number(values[1]), endUs: us }));

const isHeld = ({ us }: Pulse): boolean => Math.abs(us - FREE_US) > 50;

/** What became of the fingers after the first event of that name. */
function letGo(events: readonly BoardEvent[], since: string) {
  const fromUs = events.find(({ what }) => what === since)!.us;
  const pulses = pulsesOf(events);
  const before = pulses.filter(({ endUs }) => endUs <= fromUs).slice(-SERVOS);
  if (since !== 'sent') expect(before.every(isHeld)).toBe(true);
  const after = pulses.filter(({ endUs }) => endUs > fromUs);
  return {
    heldMs: ((after.findLast(isHeld)?.endUs ?? fromUs) - fromUs) / 1000,
    freed: SERVO_PINS.map((pin) => after.filter((pulse) => pulse.pin === pin && !isHeld(pulse)).length),
    cut: events.some(({ what }) => what === 'cut'),
  };
}

function statesOf(events: readonly BoardEvent[]): DeviceState[] {
  const states: DeviceState[] = [];
  const codec = createFrameCodec({
    hello() {},
    samples() {},
    state: (state) => states.push({ ...state }),
    pong() {},
    note() {},
  });
  for (const { what, values } of events) if (what === 'sent') codec.push(Buffer.from(values[0]!, 'hex'));
  return states;
}

test('no pin of the sketch is used twice, and no strapping pin at all', () => {
  const code = readFileSync('src/firmware/esp32/tautline_glove/pins.h', 'utf8').replace(/\/\/.*/g, '');
  const rows = [...code.matchAll(/\{(?:channel|actuator)_role::\w+, (\d+),/g)].map((match) =>
    Number(match[1]),
  );
  const lists = [...code.matchAll(/_PINS\[\d*\] = \{([\d, ]+)\}/g)].flatMap((match) =>
    match[1]!.split(',').map(Number),
  );
  const pins = [...rows, ...lists];
  expect(pins.length).toBe(7 + 5 + 4 + 3);
  expect(new Set(pins).size).toBe(pins.length);
  // ESP32 data sheet, section Strapping Pins (from memory).
  for (const strapping of [0, 2, 5, 12, 15]) expect(pins).not.toContain(strapping);
});
