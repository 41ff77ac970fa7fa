import { existsSync, mkdtempSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { describeSession } from '../../src/recording/info.js';
import { openSession } from '../../src/recording/session.js';
import { run, start } from '../commands/cli.js';

const folder = mkdtempSync(join(tmpdir(), 'tautline-kill-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Fifty with TAUTLINE_KILLS=50; each is a process that records in real time. */
const KILLS = Number(process.env.TAUTLINE_KILLS ?? 4);
const AT_ONCE = 2;
/** More than schemas and the profile. */
const BEGUN_BYTES = 60_000;
const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

test(
  `SIGKILL at ${KILLS} moments: every file opens, less than a second is missing, info says so`,
  async () => {
    const losses: number[] = [];
    const one = async (n: number): Promise<void> => {
      const file = join(folder, `killed-${n}.mcap`);
      const recording = start(['record', file, '--profile', 'config/simulated.yaml']);
      await recording.said('Recording into');
      // Only once it has samples is there something to lose.
      while (!existsSync(file) || statSync(file).size < BEGUN_BYTES) await pause(50);
      await pause(1500 * Math.random());
      const killedMs = Date.now();
      recording.process.kill('SIGKILL');
      await recording.outcome;
      const session = openSession(file);
      const info = describeSession(session);
      const endMs = Number(BigInt(session.head.epochNs) / 1_000_000n) + session.endUs / 1000;
      session.close();
      expect(info.complete).toBe(false);
      expect(info.damage).toEqual({ chunks: 0, bytes: 0, messages: 0 });
      expect(info.hands[0]?.samples).toBeGreaterThan(0);
      losses.push((killedMs - endMs) / 1000);
      if (n === 0) {
        const { code, stdout } = await run('info', file);
        expect(code).toBe(0);
        expect(stdout).toContain('killed or cut off): up to 1 s before its end is missing');
      }
    };
    for (let n = 0; n < KILLS; n += AT_ONCE) {
      await Promise.all(Array.from({ length: Math.min(AT_ONCE, KILLS - n) }, (_, i) => one(n + i)));
    }
    expect(losses.length).toBe(KILLS);
    if (process.env.TAUTLINE_KILLS) console.log(`longest loss ${Math.max(...losses).toFixed(3)} s`);
    expect(Math.max(...losses)).toBeLessThan(1);
  },
  60_000 + KILLS * 20_000,
);
