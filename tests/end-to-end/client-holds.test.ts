import { type ChildProcess, spawn } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { HoldPhase } from '../../scripts/hold-vectors.js';
import { linesOf } from '../client/lines.js';
import { compileCsharp } from '../client/mono.js';
import { scriptedService } from '../client/scripted-service.js';
import { compileCpp } from '../compiled.js';

/** What is held goes the same way in every language: tests/client/vectors.json says which. */
const { scripts, refusals } = JSON.parse(readFileSync('tests/client/vectors.json', 'utf8')).holds as {
  scripts: { name: string; phases: HoldPhase[] }[];
  refusals: {
    refusal: { code: string; message: string };
    seen: HoldPhase['seen'];
    afterwards: HoldPhase['seen'];
  }[];
};

let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-holds-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const BUILD: Record<string, () => [string, ...string[]]> = {
  JavaScript: () => [process.execPath, 'tests/client/javascript/holder.mjs'],
  'C#': () => {
    compileCsharp('tests/client/csharp/Holder.cs', join(folder, 'holder.exe'));
    return ['mono', join(folder, 'holder.exe')];
  },
  'C++': () => {
    const out = join(folder, 'holder');
    const flags = ['-std=c++17', '-O1', '-Wall', '-Wextra', '-Werror', '-fno-exceptions', '-pthread'];
    const source = 'tests/client/cpp/holder.cpp';
    compileCpp([...flags, '-fsanitize=address,undefined', '-Isrc/client/cpp', source], out);
    return [out];
  },
  Python: () => ['python3', 'tests/client/python/holder.py'],
};

const sleep = (ms: number) => new Promise<void>((resolve) => setTimeout(resolve, ms));

async function start([program, ...args]: [string, ...string[]], finished: (stop: () => void) => void) {
  const service = await scriptedService();
  const env = { ...process.env, PYTHONPATH: 'src/client/python', LANG: 'C.UTF-8', PYTHONIOENCODING: 'utf-8' };
  const child: ChildProcess = spawn(program, [...args, service.url], {
    stdio: ['pipe', 'pipe', 'inherit'],
    env,
  });
  finished(() => {
    service.close();
    child.kill('SIGKILL');
  });
  const said = linesOf(child.stdout!);
  const statesOf = (name: string): HoldPhase['seen'][] =>
    said.filter((line) => line.startsWith(`${name} `)).map((line) => JSON.parse(line.slice(name.length + 1)));
  return {
    ...service,
    tell: (line: string) => child.stdin!.write(`${line}\n`),
    statesOf,
    /** As it is seen now; of what there is no answer and no connection, each client speaks in its own words. */
    now(name: string): HoldPhase['seen'] | undefined {
      const seen = statesOf(name).at(-1);
      return seen?.code === 'notConnected' ? { ...seen, message: null } : seen;
    },
    child,
  };
}

describe.each(Object.keys(BUILD))('%s', (language) => {
  let command: [string, ...string[]];
  beforeAll(() => {
    command = BUILD[language]();
  }, 240_000);

  it.concurrent.for(scripts)('what is $name', async ({ phases }, { expect, onTestFinished }) => {
    const app = await start(command, onTestFinished);
    for (const [i, { tell, connected, armed, delayMs, refusal, limited, ...wants }] of phases.entries()) {
      const at = `phase ${i + 1}`;
      const from = app.asked.length;
      app.apply({
        ...(connected !== undefined && { connected }),
        ...(armed !== undefined && { armed }),
        ...(delayMs !== undefined && { delayMs }),
        ...(refusal !== undefined && { refusal: () => refusal ?? undefined }),
        ...(limited !== undefined && { limited: limited ?? undefined }),
      });
      if (tell === 'stop') app.tell('stop a 0.3');
      if (tell === 'move') app.tell('stop a 0.4');
      if (tell === 'touch') app.tell('touch a');
      if (tell === 'free') app.tell('free a');
      await expect
        .poll(() => withoutWords(app.now('a'), wants.seen), { timeout: 20_000, message: at })
        .toEqual(wants.seen);
      if (tell === 'move') {
        await expect
          .poll(() => stopsIn(app.asked.slice(from)), { timeout: 5000, message: at })
          .toContain(0.4);
      }
      if (wants.freed) {
        await expect
          .poll(
            () => app.asked.slice(from).some(({ type, layer }) => type === 'release' && layer !== undefined),
            { timeout: 5000, message: at },
          )
          .toBe(true);
      }
      // It stays so, and is renewed in time for what expires after 250 ms, or not at all.
      const seen = app.statesOf('a').length;
      const [settled, sinceMs] = [app.asked.length, performance.now()];
      const asked = () =>
        app.asked.slice(settled).filter(({ type }) => type === 'touch' || type === 'resist');
      await sleep(400);
      if (wants.asks === true) {
        await expect.poll(() => asked().length, { timeout: 20_000, message: at }).toBeGreaterThanOrEqual(3);
      }
      const [asks, overMs] = [asked(), performance.now() - sinceMs];
      expect(app.statesOf('a').slice(seen), at).toEqual([]);
      for (const { ttlMs } of asks) expect(ttlMs, at).toBe(250);
      // Every 60 ms, once more for what was late.
      expect(asks.length, at).toBeLessThanOrEqual(3 + overMs / 50);
      if (wants.asks === false) expect(asks, at).toEqual([]);
    }
    app.tell('end');
  });

  it('is asked for again after a refusal that passes, and never after another', async ({
    onTestFinished,
  }) => {
    const app = await start(command, onTestFinished);
    app.apply({ armed: true });
    const curlOf = (i: number) => (i + 1) / 100;
    for (let i = 0; i < refusals.length; i++) app.tell(`stop ${i} ${curlOf(i)}`);
    const all = () => refusals.map((_, i) => app.now(`${i}`));
    await expect
      .poll(() => all().map((one) => one?.state), { timeout: 20_000 })
      .toEqual(refusals.map(() => 'held'));
    const from = app.asked.length;
    app.apply({
      refusal: ({ fingers }) => refusals[Math.round(100 * fingers!.index!.stopAt) - 1].refusal,
    });
    await expect.poll(all, { timeout: 20_000 }).toEqual(refusals.map(({ seen }) => seen));
    // What was taken before is let go.
    const freed = () =>
      new Set(
        app.asked
          .slice(from)
          .filter(({ type }) => type === 'release')
          .map(({ layer }) => layer),
      ).size;
    await expect.poll(freed, { timeout: 5000 }).toBe(refusals.length);
    await sleep(150);
    const settled = app.asked.length;
    app.apply({ refusal: () => undefined });
    await expect.poll(all, { timeout: 20_000 }).toEqual(refusals.map(({ afterwards }) => afterwards));
    await sleep(150);
    const passing = refusals.flatMap(({ afterwards }, i) => (afterwards.state === 'held' ? [curlOf(i)] : []));
    expect(new Set(stopsIn(app.asked.slice(settled)))).toEqual(new Set(passing));
    app.tell('end');
  });

  it('is moved as often as is felt, and not more often', async ({ onTestFinished }) => {
    const app = await start(command, onTestFinished);
    app.apply({ armed: true });
    app.tell('stop a 0.3');
    await expect.poll(() => app.now('a')?.state, { timeout: 20_000 }).toBe('held');
    const from = app.asked.length;
    for (let i = 0; i < 300; i++) {
      app.tell(`stop a ${0.3 + i / 1000}`);
      await sleep(2);
    }
    const times = app.asked
      .slice(from)
      .filter(({ type }) => type === 'resist')
      .map(({ atMs }) => atMs);
    const spanMs = times.at(-1)! - times[0];
    expect(times.length).toBeGreaterThan(20);
    // 8 ms apart, and the renewals beside them; what waited in a socket comes close together.
    expect(times.length).toBeLessThanOrEqual(spanMs / 8 + spanMs / 60 + 3);
    await expect.poll(() => stopsIn(app.asked.slice(from)).at(-1), { timeout: 5000 }).toBeCloseTo(0.599, 6);
    app.tell('end');
  });
});

const stopsIn = (asked: { fingers?: { index?: { stopAt: number } } }[]): number[] =>
  asked.flatMap(({ fingers }) => (fingers?.index ? [Math.round(1e4 * fingers.index.stopAt) / 1e4] : []));
/** The service and a client that knows that the glove is disarmed say it differently. */
const withoutWords = (seen: HoldPhase['seen'] | undefined, wants: HoldPhase['seen']) =>
  seen?.code === 'disarmed' && wants.message === null ? { ...seen, message: null } : seen;
