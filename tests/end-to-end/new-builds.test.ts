import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { fitFileOf, openFits } from '../../src/config/fit-file.js';
import { loadProfile } from '../../src/config/load.js';
import { mergeFit } from '../../src/guide/merge-fit.js';
import { quantile } from '../../src/guide/move-statistics.js';
import type { Move } from '../../src/guide/moves.js';
import { type Running, start } from '../commands/cli.js';
import { startHostGlove } from '../firmware/host-glove.js';
import { errorsOf } from '../guide/joint-errors.js';
import { BUILDS, type Build, createBuild, RATE_HZ } from '../guide/unknown/builds.js';
import { startTextGlove } from '../link/text-glove.js';
import { MOVE_OF_PROMPT } from './prompted-moves.js';

/**
 * Six builds that nobody has described, behind pseudo-terminals: three in our firmware, three that print text. A wearer
 * who is late, sloppy and pauses does what the commands print: `new`, then `check` and `fit` with the file as it was
 * written, `run` and `status`.
 */

const folder = mkdtempSync(join(tmpdir(), 'tautline-builds-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Where no service is: others of this machine are none of its business. */
const login = () => ({ XDG_RUNTIME_DIR: mkdtempSync(join(folder, 'run-')) });

interface Rig {
  pty: string;
  glove: ReturnType<typeof createBuild>;
  /** The wearer reads what the command prints, and does it until it ends. */
  wear(command: Running): Promise<{ code: number | null; stdout: string; stderr: string; seconds: number }>;
  quit(): Promise<unknown>;
}

async function rigOf(build: Build): Promise<Rig> {
  const glove = createBuild(build);
  let move: Move | undefined;
  const wear: Rig['wear'] = async (command) => {
    const begunMs = performance.now();
    let rest = '';
    command.process.stdout!.on('data', (chunk: string) => {
      const lines = `${rest}${chunk}`.split('\n');
      rest = lines.pop() ?? '';
      for (const line of lines) {
        const prompt = line.match(/^ ?\d+\/\d+ {2}(.*)$/)?.[1];
        if (prompt === undefined) continue;
        move = MOVE_OF_PROMPT.get(prompt);
        if (move === undefined) throw new Error(`nobody knows what this asks for: ${prompt}`);
      }
    });
    const outcome = await command.outcome;
    return { ...outcome, seconds: (performance.now() - begunMs) / 1000 };
  };
  // A wearer whom a busy machine keeps waiting goes on where he was; a bar that he follows does not wait.
  let nowS = 0;
  let lastMs = performance.now();
  const timeS = (): number => {
    const ms = performance.now();
    nowS +=
      Math.min(move?.kind === 'follow' ? Number.POSITIVE_INFINITY : MOST_AT_ONCE_MS, ms - lastMs) / 1000;
    lastMs = ms;
    return nowS;
  };
  const { line } = build;
  if (line) {
    const text = await startTextGlove((ms) => {
      const { counts, buttons } = glove.read(move, timeS());
      return line(counts, ms / 1000, buttons);
    }, RATE_HZ);
    return { pty: text.pty, glove, wear, quit: () => text.quit() };
  }
  const { hand, roles, bits, stops } = build;
  const host = await startHostGlove([
    ...['--hand', hand, '--rate', `${RATE_HZ}`, '--bits', `${bits}`, '--channels', roles.join(',')],
    ...(stops ? ['--actuators', stops.join(',') || 'none'] : []),
  ]);
  for (const { role, open, closed } of glove.sensors)
    await host.command(`range ${role} ${Math.round(open)} ${Math.round(closed)}`);
  let pressed = 0;
  const timer = setInterval(() => {
    const { ways, buttons } = glove.ways(move, timeS());
    void host.command(`pose ${POSE_MS} ${ways.map((x) => x.toFixed(4)).join(' ')}`);
    for (let bit = 0; bit < 16; bit++) {
      const now = (buttons >> bit) & 1;
      if (now !== ((pressed >> bit) & 1)) void host.command(`button ${bit} ${now}`);
    }
    pressed = buttons;
  }, POSE_MS);
  return {
    pty: host.pty,
    glove,
    wear,
    async quit() {
      clearInterval(timer);
      await host.quit();
    },
  };
}

const POSE_MS = 20;
const MOST_AT_ONCE_MS = 50;

describe.concurrent('a glove that nobody has described', { timeout: 400_000 }, () => {
  it.each(BUILDS.map((build) => [build.name, build] as const))('%s', async (name, build) => {
    const rig = await rigOf(build);
    const env = login();
    const file = join(mkdtempSync(join(folder, 'build-')), 'mine.yaml');
    const tautline = (...args: string[]) => start(args, undefined, env);
    try {
      const side = build.line ? ['--hand', build.hand] : [];
      const met = await rig.wear(tautline('new', file, '--port', rig.pty, ...side));
      expect([met.code, met.stderr]).toEqual([0, '']);
      const written = readFileSync(file, 'utf8');
      const [profile] = (await loadProfile(file)).gloves;
      expect(new Set(profile.channels.map(({ role }) => role))).toEqual(new Set(build.roles));

      const check = await rig.wear(tautline('check', '--profile', file));
      expect(check.stderr).toBe('');
      expect(check.stdout.match(/^(?!link)\w+\.?\w* +well/gm), check.stdout).toHaveLength(build.roles.length);
      // Readings come from a timer of this process: on a busy machine they are as late as the link says.
      const mended = check.stdout.match(/^To be mended: .*?\./m)?.[0];
      expect(mended ?? 'To be mended: the link.', check.stdout).toBe('To be mended: the link.');
      expect(check.code).toBe(mended === undefined ? 0 : 1);
      const fit = await rig.wear(tautline('fit', '--profile', file));
      expect([fit.code, fit.stderr], fit.stdout).toEqual([0, '']);
      expect(readFileSync(file, 'utf8')).toBe(written);

      const { channels = [] } = openFits(fitFileOf(file)).current(profile.name, profile.hand).channels ?? {};
      const roles = profile.channels.map(({ role }) => role);
      const worn = {
        channels: roles,
        slip: () => {},
        read: (hand: Parameters<typeof rig.glove.measure>[0], counts: Uint16Array) =>
          rig.glove.measure(hand, roles, counts),
      };
      const errors = errorsOf(worn, mergeFit(profile, channels), build.seed);
      const [middle, p95] = [quantile(errors, 0.5), quantile(errors, 0.95)];
      const took = [met, check, fit].map(({ seconds }) => seconds.toFixed(0)).join(' + ');
      console.log(`${name}: ${took} s; median ${middle.toFixed(2)}, p95 ${p95.toFixed(2)} degrees`);
      expect(middle).toBeLessThan(MEDIAN_DEG);
      expect(p95).toBeLessThan(P95_DEG);

      // It runs as it was written.
      const service = tautline('run', '--profile', file, '--listen', '127.0.0.1:0');
      try {
        await service.said('/stream');
        const said = await untilStatus(tautline, /link live/, 0);
        expect(said.code, said.stdout).toBe(0);
        expect(said.stdout).toContain(`profile: ${file}`);
      } finally {
        service.process.kill('SIGINT');
        await service.outcome;
      }
    } finally {
      await rig.quit();
    }
  });

  it('one that sends more than its profile names: said, with lines that do it', async () => {
    const rig = await rigOf(BUILDS[1]);
    const env = login();
    const file = join(mkdtempSync(join(folder, 'more-')), 'mine.yaml');
    const tautline = (...args: string[]) => start(args, undefined, env);
    const run = async (text: string, looksFor: RegExp, code?: number) => {
      writeFileSync(file, text);
      const service = tautline('run', '--profile', file, '--listen', '127.0.0.1:0');
      try {
        await service.said('/stream');
        return await untilStatus(tautline, looksFor, code);
      } finally {
        service.process.kill('SIGINT');
        await service.outcome;
      }
    };
    const profile = (...channels: string[]) =>
      [
        'profile: 1',
        'gloves:',
        '  - name: Mine',
        '    hand: left',
        `    link: { kind: serial, path: ${rig.pty} }`,
        '    channels:',
        ...BUILDS[1].roles
          .filter((role) => /(curl|splay)$/.test(role))
          .map((role) => `      - { role: ${role}, bits: 10, open: 100, closed: 900 }`),
        ...channels.map((line) => `      - ${line}`),
        '    actuators:',
        ...['thumb', 'index', 'middle', 'ring', 'little'].map(
          (role) => `      - { role: ${role}, kind: stringStop }`,
        ),
        '',
      ].join('\n');
    try {
      const less = await run(profile(), /does not\s+name/);
      const flat = less.stdout.replace(/\s+/g, ' ');
      const more =
        /The glove sends stick\.x, stick\.y and trigger, which the profile does not name\. Add under channels: (.*?\})\. ?/.exec(
          flat,
        );
      expect(more, less.stdout).not.toBeNull();
      const lines = more![1].split('; ');
      expect(lines).toHaveLength(3);
      const whole = await run(profile(...lines), /link live/, 0);
      expect(whole.stdout).not.toMatch(/does not\s+name/);
      expect(whole.code, whole.stdout).toBe(0);
    } finally {
      await rig.quit();
    }
  });
});

/**
 * The median as for the first fit (tests/guide/fit.test.ts). In simulated time these builds come out with 0.4 to 0.7 degrees
 * (tests/guide/unknown/); here a busy machine moves the wearer's hand late, which shows in the tail.
 */
const MEDIAN_DEG = 3;
const P95_DEG = 7;

async function untilStatus(tautline: (...args: string[]) => Running, looksFor: RegExp, code?: number) {
  const endMs = performance.now() + 30_000;
  for (;;) {
    const said = await tautline('status').outcome;
    const isIt = looksFor.test(said.stdout) && (code === undefined || said.code === code);
    if (isIt || performance.now() > endMs) return said;
  }
}
