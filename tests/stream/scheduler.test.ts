import { setImmediate as nextTurn } from 'node:timers/promises';
import { describe, expect, it } from 'vitest';
import { ConnectionBurst } from '../../src/stream/connection-burst.js';
import { type ScheduledApp, Scheduler } from '../../src/stream/scheduler.js';

/** Goes on by what work costs, and by nothing else: the verdicts do not hang on the machine's load. */
let clockMs = 0;
const nowMs = (): number => clockMs;

/** Keeps the processor for so long. */
function work(ms: number): void {
  clockMs += ms;
}

class TestApp implements ScheduledApp {
  servedMs = 0;
  looked = 0;
  acted = 0;
  rested = 0;
  constructor(
    readonly scheduler: Scheduler,
    readonly log: string[],
    readonly name: string,
    public toLook = 1,
    public toAct = 0,
    readonly costMs = 0,
  ) {}

  look(): boolean {
    this.log.push(`look ${this.name}`);
    this.looked++;
    work(this.costMs);
    if (this.toAct > 0) this.scheduler.asked(this);
    return --this.toLook > 0;
  }
  act(): boolean {
    this.log.push(`act ${this.name}`);
    this.acted++;
    work(this.costMs);
    return --this.toAct > 0;
  }
  rest(): void {
    this.rested++;
  }
}

const ROOMY = { lookMs: 1000, actMs: 1000 };

describe('the scheduler', () => {
  it('look at all that has come before anything is acted on', async () => {
    const scheduler = new Scheduler(ROOMY, undefined, nowMs);
    const log: string[] = [];
    const apps = ['a', 'b', 'c'].map((name) => new TestApp(scheduler, log, name, 1, 1));
    for (const app of apps) scheduler.arrived(app);
    await nextTurn();
    expect(log).toEqual(['look a', 'look b', 'look c', 'act a', 'act b', 'act c']);
    expect(apps.map(({ rested }) => rested)).toEqual([1, 1, 1]);
  });

  it('look at one slice after another of each, in turn', async () => {
    const scheduler = new Scheduler(ROOMY, undefined, nowMs);
    const log: string[] = [];
    for (const name of ['a', 'b']) scheduler.arrived(new TestApp(scheduler, log, name, 3));
    await nextTurn();
    expect(log).toEqual(['look a', 'look b', 'look a', 'look b', 'look a', 'look b']);
  });

  it('end in time, whatever is left: other events come between', async () => {
    const scheduler = new Scheduler({ lookMs: 5, actMs: 5 }, undefined, nowMs);
    const log: string[] = [];
    const apps = Array.from({ length: 40 }, (_, i) => new TestApp(scheduler, log, `${i}`, 2, 4, 1));
    let longestMs = 0;
    let done = false;
    const others = (async () => {
      let beforeMs = nowMs();
      while (!done) {
        await nextTurn();
        longestMs = Math.max(longestMs, nowMs() - beforeMs);
        beforeMs = nowMs();
      }
    })();
    for (const app of apps) scheduler.arrived(app);
    while (apps.some(({ toLook, toAct }) => toLook > 0 || toAct > 0)) await nextTurn();
    done = true;
    await others;
    expect(apps.every(({ acted }) => acted === 4)).toBe(true);
    // All of it takes 240 ms.
    expect(longestMs).toBeLessThan(15);
  });

  it('serve who has had least: one that asks little waits for one turn, not for all that others ask', async () => {
    const scheduler = new Scheduler({ lookMs: 1000, actMs: 4 }, undefined, nowMs);
    const log: string[] = [];
    const greedy = Array.from(
      { length: 20 },
      (_, i) => new TestApp(scheduler, log, `greedy ${i}`, 1, 100, 1),
    );
    for (const app of greedy) scheduler.arrived(app);
    for (let i = 0; i < 10; i++) await nextTurn();
    const before = greedy.reduce((sum, { acted }) => sum + acted, 0);
    const modest = new TestApp(scheduler, log, 'modest', 1, 1);
    scheduler.arrived(modest);
    while (modest.acted === 0) await nextTurn();
    const between = greedy.reduce((sum, { acted }) => sum + acted, 0) - before;
    expect(between).toBeLessThan(12);
    for (const app of greedy) scheduler.left(app);
  });

  it('give each the same time, not the same number', async () => {
    const scheduler = new Scheduler({ lookMs: 1000, actMs: 4 }, undefined, nowMs);
    const log: string[] = [];
    const cheap = new TestApp(scheduler, log, 'cheap', 1, 1e6, 0.2);
    const dear = new TestApp(scheduler, log, 'dear', 1, 1e6, 2);
    scheduler.arrived(dear);
    scheduler.arrived(cheap);
    for (let i = 0; i < 40; i++) await nextTurn();
    for (const app of [cheap, dear]) scheduler.left(app);
    expect(cheap.acted / dear.acted).toBeGreaterThan(4);
    expect(Math.abs(cheap.servedMs - dear.servedMs)).toBeLessThan(0.3 * dear.servedMs);
  });

  it('put off what apps ask while connections keep coming, but not for long', async () => {
    const burst = new ConnectionBurst();
    const scheduler = new Scheduler({ lookMs: 1000, actMs: 4 }, burst, nowMs);
    const app = new TestApp(scheduler, [], 'a', 1, 1e6, 1);
    scheduler.arrived(app);
    await nextTurn();
    const { acted } = app;
    const beganMs = nowMs();
    let turnsOff = 0;
    while (app.acted === acted) {
      work(0.5);
      burst.connected(nowMs());
      await nextTurn();
      turnsOff++;
    }
    expect(turnsOff).toBeGreaterThan(30);
    expect(nowMs() - beganMs).toBeLessThan(30);
    // No connection for a while: a turn is a turn again.
    work(5);
    const before = app.acted;
    await nextTurn();
    expect(app.acted).toBeGreaterThan(before);
    scheduler.left(app);
  });

  it('owe nothing for the time when nothing was asked', async () => {
    const scheduler = new Scheduler({ lookMs: 1000, actMs: 4 }, undefined, nowMs);
    const log: string[] = [];
    const early = new TestApp(scheduler, log, 'early', 1, 1e6, 1);
    scheduler.arrived(early);
    for (let i = 0; i < 20; i++) await nextTurn();
    const late = new TestApp(scheduler, log, 'late', 1, 1e6, 1);
    scheduler.arrived(late);
    const before = early.acted;
    while (late.acted < 20) await nextTurn();
    // Both in turn: the late one does not catch up.
    expect(early.acted - before).toBeGreaterThan(12);
    for (const app of [early, late]) scheduler.left(app);
  });
});
