import { type ChildProcess, spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, expect } from 'vitest';
import { linesOf } from '../client/lines.js';
import type { App } from '../stream/app.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** A program with a frame loop, which obeys lines of its input and prints what changes. */
export interface GameLoop {
  readonly said: readonly string[];
  readonly process: ChildProcess;
  readonly ended: Promise<number | null>;
  tell(line: string): void;
  /** Until it has printed this as its `count`th line of the kind. */
  says(line: RegExp | string, count?: number): Promise<unknown>;
}

/**
 * For a file of tests: a service with an app that looks on, and a program of a client that is run against it.
 * @param build makes the program in this folder and returns the command that runs it; its last argument is the address
 */
export function gameLoops(build: (folder: string) => Promise<string[]> | string[]) {
  const loops = new Set<ChildProcess>();
  let folder = '';
  let command: string[] = [];
  let service: ServiceProcess;
  let app: App;
  const watch = async () => {
    app = await service.connect();
    await app.ask({ type: 'subscribe', streams: ['joints', 'resistance'] });
  };
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'tautline-loop-'));
    command = await build(folder);
    service = await startServiceProcess();
    await watch();
  }, 240_000);
  afterEach(async () => {
    for (const child of loops) child.kill('SIGKILL');
    loops.clear();
    await app.ask({ type: 'disarm' });
  });
  afterAll(async () => {
    app?.ws.close();
    await stopAllServices();
    rmSync(folder, { recursive: true, force: true });
  });

  return {
    get folder() {
      return folder;
    },
    get service() {
      return service;
    },
    get app() {
      return app;
    },
    get url() {
      return `ws://127.0.0.1:${service.port}/stream`;
    },
    armed: () => expect.poll(async () => (await service.arm()).status, { timeout: 20_000 }).toBe(200),
    effort: () => app.of('resistance').at(-1)?.fingers.index?.effort ?? 0,
    /** A new service in place of the one that was stopped, at the same address. */
    async restart(): Promise<void> {
      service = await startServiceProcess(undefined, ['--listen', `127.0.0.1:${service.port}`]);
      await watch();
    },
    loop(url = `ws://127.0.0.1:${service.port}/stream`): GameLoop {
      const [program, ...args] = command;
      const child = spawn(program, [...args, url], { stdio: ['pipe', 'pipe', 'inherit'] });
      loops.add(child);
      const said = linesOf(child.stdout);
      const fits = (line: RegExp | string) => (one: string) =>
        typeof line === 'string' ? one === line : line.test(one);
      return {
        said,
        process: child,
        ended: new Promise((resolve) => child.on('close', resolve)),
        tell: (line) => void child.stdin.write(`${line}\n`),
        says: (line, count = 1) =>
          expect
            .poll(() => said.filter(fits(line)).length, { timeout: 20_000 })
            .toBeGreaterThanOrEqual(count),
      };
    },
  };
}
