import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createOutgoingQueue, type Outgoing } from '../../src/fleet/outgoing-queue.js';
import type { Kind } from '../../src/fleet/topics.js';

const message = (kind: Kind, size: number, atMs = 0): Outgoing => ({
  kind,
  hand: kind === 'status' || kind === 'session' ? undefined : 'right',
  bytes: new Uint8Array(size),
  atMs,
});
const queueOf = (maxBytes: number, maxRawMs = 60_000) => createOutgoingQueue({ maxBytes, maxRawMs });
const takeAll = (queue: ReturnType<typeof queueOf>, nowMs = 0): Outgoing[] => {
  const taken: Outgoing[] = [];
  for (let next = queue.next(nowMs); next; next = queue.next(nowMs)) taken.push(next);
  return taken;
};

describe('what waits for the broker', () => {
  it('loses the oldest poses first, then events, and raw bytes last', () => {
    const queue = queueOf(1000);
    const poses = [1, 2, 3].map((n) => message('joints', 100 + n));
    const events = [1, 2].map((n) => message('inputs', 100 + n));
    const raw = [1, 2, 3].map((n) => message('raw', 100 + n));
    for (const each of [...poses, ...events, ...raw]) queue.put(each);
    queue.put(message('raw', 300));
    expect(queue.dropped).toEqual({ poses: 2, events: 0, raw: 0 });
    queue.put(message('raw', 300));
    expect(queue.dropped).toEqual({ poses: 3, events: 2, raw: 0 });
    queue.put(message('raw', 300));
    expect(queue.dropped).toEqual({ poses: 3, events: 2, raw: 3 });
    expect(takeAll(queue).map(({ bytes }) => bytes.length)).toEqual([300, 300, 300]);
  });

  it('sends the newest of what is retained first, then poses, events, raw bytes', () => {
    const queue = queueOf(10_000);
    for (const kind of ['raw', 'inputs', 'joints', 'status', 'health'] as const) queue.put(message(kind, 10));
    queue.put(message('status', 20));
    queue.put(message('joints', 30));
    expect([
      queue.next(0, true)!.bytes.length,
      queue.next(0, true)!.bytes.length,
      queue.next(0, true),
    ]).toEqual([10, 30, undefined]);
    queue.put(message('joints', 10));
    expect(takeAll(queue).map(({ kind, bytes }) => `${kind} ${bytes.length}`)).toEqual([
      'status 20',
      'health 10',
      'joints 10',
      'inputs 10',
      'raw 10',
    ]);
  });

  it('forgets what is old: poses after a second, events after ten, raw bytes when the profile says so', () => {
    const queue = queueOf(10_000, 30_000);
    for (const kind of ['joints', 'inputs', 'raw'] as const) queue.put(message(kind, 10, 0));
    expect(queue.next(1001)).toMatchObject({ kind: 'inputs' });
    expect(queue.dropped).toEqual({ poses: 1, events: 0, raw: 0 });
    expect(queue.next(30_001)).toBeUndefined();
    expect(queue.dropped).toEqual({ poses: 1, events: 0, raw: 1 });
  });

  it('gives back what was under way, in its order, before the rest; of what is retained only the newest', () => {
    const queue = queueOf(10_000);
    for (let n = 1; n <= 4; n++) queue.put(message('raw', n));
    const status = message('status', 50);
    queue.put(status);
    const underWay = [queue.next(0)!, queue.next(0)!, queue.next(0)!];
    expect(underWay[0]).toBe(status);
    queue.put(message('status', 60));
    queue.back(underWay);
    expect(takeAll(queue).map(({ bytes }) => bytes.length)).toEqual([60, 1, 2, 3, 4]);
    queue.renew();
    expect(takeAll(queue).map(({ bytes }) => bytes.length)).toEqual([60]);
  });

  it('counts every byte that waits or is under way, whatever happens to it', () => {
    const kinds = fc.constantFrom<Kind>('joints', 'inputs', 'resistance', 'raw', 'status');
    const steps = fc.array(
      fc.oneof(
        {
          weight: 4,
          arbitrary: fc.record({ put: kinds, size: fc.integer({ min: 1, max: 400 }), later: fc.nat(2000) }),
        },
        fc.constantFrom('take' as const, 'done' as const, 'break' as const),
      ),
      { maxLength: 200 },
    );
    fc.assert(
      fc.property(steps, (list) => {
        const queue = queueOf(1000);
        let nowMs = 0;
        let underWay: Outgoing[] = [];
        for (const step of list) {
          if (typeof step === 'object') {
            nowMs += step.later;
            queue.put(message(step.put, step.size, nowMs));
          } else if (step === 'take') {
            const next = queue.next(nowMs);
            if (next) underWay.push(next);
          } else if (step === 'done') {
            const first = underWay.shift();
            if (first) queue.done(first);
          } else {
            queue.back(underWay);
            underWay = [];
          }
          const flying = underWay
            .filter(({ kind }) => kind !== 'status')
            .reduce((sum, { bytes }) => sum + bytes.length, 0);
          expect(queue.bytes).toBeGreaterThanOrEqual(flying);
          expect(queue.bytes - flying).toBeLessThanOrEqual(Math.max(1000, 1000 + flying));
        }
        for (const each of underWay) queue.done(each);
        for (const each of takeAll(queue, nowMs)) queue.done(each);
        expect(queue.bytes).toBe(0);
      }),
    );
  });
});
