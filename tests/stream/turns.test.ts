import { setImmediate as nextTurn } from 'node:timers/promises';
import { describe, expect, it } from 'vitest';
import { Hurry } from '../../src/stream/hurry.js';
import { Turns, type TurnTaker } from '../../src/stream/turns.js';

/** Goes on by what work costs, and by nothing else: the verdicts do not hang on the machine's load. */
let clockMs = 0;
const nowMs = (): number => clockMs;

/** Keeps the processor for so long. */
function work(ms: number): void {
  clockMs += ms;
}

class TestTaker implements TurnTaker {
  servedMs = 0;
  looked = 0;
  acted = 0;
  rested = 0;
  constructor(
    readonly turns: Turns,
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
    if (this.toAct > 0) this.turns.asked(this);
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

describe('turns', () => {
  it('look at all that has come before anything is acted on', async () => {
    const turns = new Turns(ROOMY, undefined, nowMs);
    const log: string[] = [];
    const takers = ['a', 'b', 'c'].map((name) => new TestTaker(turns, log, name, 1, 1));
    for (const taker of takers) turns.arrived(taker);
    await nextTurn();
    expect(log).toEqual(['look a', 'look b', 'look c', 'act a', 'act b', 'act c']);
    expect(takers.map(({ rested }) => rested)).toEqual([1, 1, 1]);
  });

  it('look at one slice after another of each, in turn', async () => {
    const turns = new Turns(ROOMY, undefined, nowMs);
    const log: string[] = [];
    for (const name of ['a', 'b']) turns.arrived(new TestTaker(turns, log, name, 3));
    await nextTurn();
    expect(log).toEqual(['look a', 'look b', 'look a', 'look b', 'look a', 'look b']);
  });

  it('end in time, whatever is left: other events come between', async () => {
    const turns = new Turns({ lookMs: 5, actMs: 5 }, undefined, nowMs);
    const log: string[] = [];
    const takers = Array.from({ length: 40 }, (_, i) => new TestTaker(turns, log, `${i}`, 2, 4, 1));
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
    for (const taker of takers) turns.arrived(taker);
    while (takers.some(({ toLook, toAct }) => toLook > 0 || toAct > 0)) await nextTurn();
    done = true;
    await others;
    expect(takers.every(({ acted }) => acted === 4)).toBe(true);
    // All of it takes 240 ms.
    expect(longestMs).toBeLessThan(15);
  });

  it('serve who has had least: one that asks little waits for one turn, not for all that others ask', async () => {
    const turns = new Turns({ lookMs: 1000, actMs: 4 }, undefined, nowMs);
    const log: string[] = [];
    const greedy = Array.from({ length: 20 }, (_, i) => new TestTaker(turns, log, `greedy ${i}`, 1, 100, 1));
    for (const taker of greedy) turns.arrived(taker);
    for (let i = 0; i < 10; i++) await nextTurn();
    const before = greedy.reduce((sum, { acted }) => sum + acted, 0);
    const modest = new TestTaker(turns, log, 'modest', 1, 1);
    turns.arrived(modest);
    while (modest.acted === 0) await nextTurn();
    const between = greedy.reduce((sum, { acted }) => sum + acted, 0) - before;
    expect(between).toBeLessThan(12);
    for (const taker of greedy) turns.left(taker);
  });

  it('give each the same time, not the same number', async () => {
    const turns = new Turns({ lookMs: 1000, actMs: 4 }, undefined, nowMs);
    const log: string[] = [];
    const cheap = new TestTaker(turns, log, 'cheap', 1, 1e6, 0.2);
    const dear = new TestTaker(turns, log, 'dear', 1, 1e6, 2);
    turns.arrived(dear);
    turns.arrived(cheap);
    for (let i = 0; i < 40; i++) await nextTurn();
    for (const taker of [cheap, dear]) turns.left(taker);
    expect(cheap.acted / dear.acted).toBeGreaterThan(4);
    expect(Math.abs(cheap.servedMs - dear.servedMs)).toBeLessThan(0.3 * dear.servedMs);
  });

  it('put off what apps ask while connections keep coming, but not for long', async () => {
    const hurry = new Hurry();
    const turns = new Turns({ lookMs: 1000, actMs: 4 }, hurry, nowMs);
    const taker = new TestTaker(turns, [], 'a', 1, 1e6, 1);
    turns.arrived(taker);
    await nextTurn();
    const { acted } = taker;
    const beganMs = nowMs();
    let turnsOff = 0;
    while (taker.acted === acted) {
      work(0.5);
      hurry.connected(nowMs());
      await nextTurn();
      turnsOff++;
    }
    expect(turnsOff).toBeGreaterThan(30);
    expect(nowMs() - beganMs).toBeLessThan(30);
    // No connection for a while: a turn is a turn again.
    work(5);
    const before = taker.acted;
    await nextTurn();
    expect(taker.acted).toBeGreaterThan(before);
    turns.left(taker);
  });

  it('owe nothing for the time when nothing was asked', async () => {
    const turns = new Turns({ lookMs: 1000, actMs: 4 }, undefined, nowMs);
    const log: string[] = [];
    const early = new TestTaker(turns, log, 'early', 1, 1e6, 1);
    turns.arrived(early);
    for (let i = 0; i < 20; i++) await nextTurn();
    const late = new TestTaker(turns, log, 'late', 1, 1e6, 1);
    turns.arrived(late);
    const before = early.acted;
    while (late.acted < 20) await nextTurn();
    // Both in turn: the late one does not catch up.
    expect(early.acted - before).toBeGreaterThan(12);
    for (const taker of [early, late]) turns.left(taker);
  });
});
