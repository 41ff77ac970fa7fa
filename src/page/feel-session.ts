import { type Signal, signal } from '@preact/signals';
import type { FeelValues, GloveAnswer } from '../glove/feel-report.js';
import type { Place } from '../guide/feel-trial.js';
import type { Finger, HandSide } from '../hand/joints.js';
import type { Feel } from '../resistance/wearer-feel.js';
import { ask } from './routes.js';

/** The service ends a comparison when it hears nothing of its leader for two seconds. */
const POLL_MS = 120;

export interface FeelWish {
  what: Feel;
  finger: Finger;
  a: number;
  b: number;
  rounds: number;
  /** Empty: whoever wears the glove now. */
  person: string;
}

/** A comparison of how forces feel that this page leads. */
export interface FeelSession {
  /** Where to begin; undefined until they are read. */
  readonly values: Signal<FeelValues | undefined>;
  /** Of the comparison that was begun here; undefined: none. */
  readonly report: Signal<GloveAnswer | undefined>;
  /** Why something was refused, or ended early. */
  readonly problem: Signal<string | undefined>;
  /** Reads where to begin. */
  read(): Promise<void>;
  begin(wish: FeelWish): Promise<void>;
  show(which: Place): Promise<void>;
  choose(which: Place | 'same'): Promise<void>;
  /** Ends it, disarmed; nothing is kept. */
  stop(why?: string): void;
  keep(which: 'a' | 'b'): Promise<void>;
  /** Takes back what was kept of this comparison, and nothing else. */
  undo(): Promise<void>;
  /** What was found is put away. */
  forget(): void;
}

/** @param side which hand, where there are two */
export function createFeelSession(side: () => HandSide | undefined): FeelSession {
  const leader = Math.random().toString(36).slice(2);
  const values = signal<FeelValues | undefined>(undefined);
  const report = signal<GloveAnswer | undefined>(undefined);
  const problem = signal<string | undefined>(undefined);
  let timer: ReturnType<typeof setTimeout> | undefined;
  let wasArmed = false;
  /** Answers to what was asked before it ended, or began again, are late. */
  let turn = 0;

  const path = (name: string, query: Record<string, string> = {}): string => {
    const hand = side();
    return `${name}?${new URLSearchParams({ ...query, leader, ...(hand === undefined ? {} : { hand }) })}`;
  };
  const isRunning = () => report.value?.state === 'running';

  function take(answer: GloveAnswer): void {
    if (answer.state === 'stopped') {
      end();
      problem.value = answer.reason ?? 'The comparison was ended.';
      return;
    }
    wasArmed ||= answer.armed;
    if (answer.state === 'running' && wasArmed && !answer.armed) {
      session.stop('Disarmed: nothing was changed. Begin again when you are ready.');
      return;
    }
    // One that nobody leads here: the service was started again meanwhile.
    if (answer.state === 'idle') {
      end();
      problem.value = 'The service was started again: begin again.';
      return;
    }
    report.value = answer;
  }
  function end(): void {
    turn++;
    clearTimeout(timer);
    report.value = undefined;
  }
  async function act(doing: () => Promise<GloveAnswer>): Promise<void> {
    const mine = turn;
    try {
      const answer = await doing();
      if (mine !== turn) return;
      problem.value = undefined;
      take(answer);
    } catch (error) {
      if (mine === turn) problem.value = (error as Error).message;
    }
  }
  function follow(): void {
    clearTimeout(timer);
    const mine = turn;
    timer = setTimeout(async () => {
      try {
        const answer = await ask<GloveAnswer>('GET', path('/feel'));
        if (mine !== turn) return;
        take(answer);
      } catch (error) {
        if (mine !== turn) return;
        // It ends by itself when it does not hear of this page, and is asked for again until then.
        problem.value = (error as Error).message;
      }
      if (mine === turn && isRunning()) follow();
    }, POLL_MS);
  }

  const session: FeelSession = {
    values,
    report,
    problem,
    async read() {
      try {
        values.value = await ask<FeelValues>('GET', path('/feel/values'));
      } catch (error) {
        problem.value = (error as Error).message;
      }
    },
    async begin({ what, finger, a, b, rounds, person }) {
      end();
      wasArmed = false;
      const query = { what, finger, a: String(a), b: String(b), rounds: String(rounds), by: 'the page' };
      await act(() => ask<GloveAnswer>('POST', path('/feel', person === '' ? query : { ...query, person })));
      if (isRunning()) follow();
    },
    show: (which) => act(() => ask('POST', path('/feel/show', { which }))),
    choose: (which) => act(() => ask('POST', path('/feel/choose', { which }))),
    stop(why) {
      if (!isRunning()) return;
      end();
      problem.value = why;
      ask('POST', path('/feel/stop')).catch(() => {});
    },
    async keep(which) {
      await act(() => ask('POST', path('/feel/keep', { which })));
      await session.read();
    },
    async undo() {
      const savedAt = report.value?.found?.keptAt;
      if (savedAt === undefined) return;
      try {
        // That alone: another fit may have been kept since then, here or elsewhere.
        await ask('POST', path('/fits/undo', { savedAt }));
        session.forget();
        await session.read();
      } catch (error) {
        problem.value = (error as Error).message;
      }
    },
    forget() {
      if (isRunning()) return;
      end();
      problem.value = undefined;
    },
  };
  return session;
}
