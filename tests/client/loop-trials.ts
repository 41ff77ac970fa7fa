import type { ChildProcess } from 'node:child_process';
import { expect } from 'vitest';
import { hostileService } from './hostile-service.js';
import { slowService } from './slow-service.js';

/** A program of a client for frame loops, told what to do line by line. */
interface Loop {
  readonly process: ChildProcess;
  tell(line: string): unknown;
}

/** It knows that it holds, also where every answer comes later than the next renewal is due. */
export async function holdsWithLateAnswers<L extends Loop>(
  start: (url: string) => L,
  held: (loop: L) => Promise<unknown>,
): Promise<void> {
  const slow = await slowService(150);
  const loop = start(slow.url);
  loop.tell('stop 0.3');
  await held(loop);
  slow.close();
}

/** It outlives a service that sends what no service sends, and still does as it is told. */
export async function outlivesHostileService(start: (url: string) => Loop): Promise<void> {
  const hostile = await hostileService();
  const loop = start(hostile.url);
  loop.tell('stop 0.3');
  await expect.poll(hostile.met, { timeout: 20_000 }).toBeGreaterThan(8);
  expect(loop.process.exitCode).toBeNull();
  loop.tell('end');
  expect(await new Promise((resolve) => loop.process.on('close', resolve))).toBe(0);
  hostile.close();
}
