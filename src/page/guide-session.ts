import { type ReadonlySignal, signal } from '@preact/signals';
import type { GuideReport, GuideTask } from '../guide/report.js';
import type { HandSide } from '../hand/joints.js';
import type { Ranges } from './fit-change.js';
import type { Live, LiveHand } from './live.js';
import { ask } from './routes.js';
import { seen } from './seen.js';

const RUNNING_MS = 80;
const IDLE_MS = 1000;

/** The move that the wearer is asked for, and of what it is. */
export interface GuidedMove extends NonNullable<GuideReport['move']> {
  hand: HandSide;
  task: GuideTask;
}

/** A guided run that this page leads, or looks at. */
export interface GuideSession {
  readonly isRunning: ReadonlySignal<boolean>;
  /** The present one; while nothing runs, the last one. */
  readonly move: ReadonlySignal<GuidedMove | undefined>;
  /** What the last run found; undefined while one runs, or nothing is known. */
  readonly found: ReadonlySignal<GuideReport | undefined>;
  /** Why something was refused. */
  readonly problem: ReadonlySignal<string | undefined>;
  /** Ranges in use when the run began: what a fit of it changes. */
  readonly before: Ranges;
  /** @param person whom it is for; empty: whoever wears the glove now */
  begin(task: GuideTask, person: string): Promise<void>;
  next(): void;
  giveUp(): void;
  /** Uses what was found; or a part of it that is offered apart. */
  accept(part?: 'sensors'): void;
  /** Asks for something else of the hand, says what was refused, and looks again. */
  post(path: string): Promise<void>;
  read<T>(path: string): Promise<T>;
  /** Reads it, again and again while it is shown. */
  look(): Promise<void>;
  show(shown: boolean): void;
  /** What was refused is of another time. */
  forget(): void;
}

/**
 * @param side which hand
 * @param changing what is shown is about to change. @returns called once it has
 */
export function createGuideSession(
  live: Live,
  side: () => HandSide | undefined,
  changing: () => () => void,
): GuideSession {
  const isRunning = signal(false);
  const move = signal<GuidedMove | undefined>(undefined);
  const found = signal<GuideReport | undefined>(undefined);
  const problem = signal<string | undefined>(undefined);
  let before: Ranges = new Map();
  let said = '';
  let isShown = false;
  let timer: ReturnType<typeof setTimeout> | undefined;
  let asking = 0;

  /** So that this page leads what it begins, and nobody else does. */
  const leader = Math.random().toString(36).slice(2);
  const route = (path: string): string => {
    const hand = live.hands.size < 2 || side() === undefined ? '' : `&hand=${side()}`;
    return `${path}${path.includes('?') ? '&' : '?'}leader=${leader}${hand}`;
  };
  const failed = (error: unknown) => {
    problem.value = (error as Error).message;
  };

  function take(report: GuideReport): void {
    const text = JSON.stringify(report);
    if (text === said) return;
    said = text;
    const { state, hand, task = 'check' } = report;
    const runs = state === 'running' && report.move !== undefined;
    if (runs && report.move?.number === 1) before = rangesOf(live.hands.get(hand));
    const changed = changing();
    if (report.move && runs) move.value = { ...report.move, hand, task };
    found.value = runs ? undefined : report;
    isRunning.value = runs;
    changed();
  }
  async function look(): Promise<void> {
    clearTimeout(timer);
    const asked = ++asking;
    try {
      const report = await ask<GuideReport>('GET', route('/guide'));
      if (asked !== asking) return;
      take(report);
    } catch (error) {
      if (asked !== asking) return;
      failed(error);
    }
    // Who leads a run goes on doing so.
    const runs = isRunning.peek();
    if (isShown && (runs || seen.value)) timer = setTimeout(look, runs ? RUNNING_MS : IDLE_MS);
  }
  async function post(path: string): Promise<void> {
    try {
      await ask('POST', route(path));
      problem.value = undefined;
    } catch (error) {
      failed(error);
    }
    await look();
  }
  seen.subscribe((isSeen) => {
    if (isSeen && isShown) void look();
  });

  return {
    isRunning,
    move,
    found,
    problem,
    get before() {
      return before;
    },
    begin(task, person) {
      const who = task !== 'check' && person !== '' ? `&person=${encodeURIComponent(person)}` : '';
      return post(`/guide?task=${task}&by=the+page${who}`);
    },
    next: () => void post('/guide/next'),
    giveUp: () => void post('/guide/stop'),
    accept: (part) => void post(`/guide/accept${part === undefined ? '' : `?part=${part}`}`),
    post,
    read: (path) => ask('GET', route(path)),
    look,
    show(shown) {
      isShown = shown;
      clearTimeout(timer);
    },
    forget() {
      problem.value = undefined;
    },
  };
}

const rangesOf = (hand: LiveHand | undefined): Ranges =>
  new Map(
    (hand?.info.channels ?? []).flatMap(({ role, open, closed }) =>
      open === undefined || closed === undefined ? [] : [[role as string, { open, closed }] as const],
    ),
  );
