import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeEach, describe, expect, it, vi } from 'vitest';
import { armGlove, hostGloveProfile, startServiceProcess, stopAllServices } from '../end-to-end/service.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { type Outcome, run, start } from './cli.js';

/**
 * Firmware is kept up with a stand-in for the board makers' tool: a program of that name that takes the same words
 * (`compile --fqbn F --library L SKETCH`, `upload --fqbn F --port P SKETCH`; from memory of its help) and notes them.
 */

vi.setConfig({ testTimeout: 120_000 });

const folder = mkdtempSync(join(tmpdir(), 'tautline-firmware-'));
const at = (name: string) => join(folder, name);
const noted = at('noted');
const fails = at('fails');
/** As long as it is there, the tool is at work. */
const waits = at('waits');
writeFileSync(
  at('arduino-cli'),
  `#!/bin/sh\nfor word; do printf '%s\\n' "$word"; done >> ${noted}\necho >> ${noted}\nwhile [ -e ${waits} ]; do sleep 0.05; done\nif grep -qx "$1" ${fails} 2>/dev/null; then echo 'Platform is not installed' >&2; exit 1; fi\n`,
  { mode: 0o755 },
);
const gloves: HostGlove[] = [];
async function glove(...args: string[]): Promise<HostGlove> {
  const host = await startHostGlove(args);
  gloves.push(host);
  return host;
}
afterAll(async () => {
  await stopAllServices();
  for (const host of gloves) await host.quit();
  rmSync(folder, { recursive: true, force: true });
});
beforeEach(() => {
  for (const file of [noted, fails, waits]) rmSync(file, { force: true });
});
/** Each time that the tool was run, its words. */
const runs = (): string[][] =>
  existsSync(noted)
    ? readFileSync(noted, 'utf8')
        .split('\n\n')
        .filter(Boolean)
        .map((one) => one.split('\n'))
    : [];

const NO_SERVICE = ['--url', '127.0.0.1:9'];
const upload = (port: string, ...args: string[]): Promise<Outcome> =>
  start(['firmware', 'upload', at('mine'), '--port', port, ...args], undefined, {
    PATH: `${folder}:${process.env.PATH}`,
  }).outcome;

describe.runIf(process.platform === 'linux')('firmware on a board', () => {
  it('is written by the tool, after it was said what will be done, and read back', async () => {
    expect(await run('firmware', 'write', at('mine'))).toMatchObject({ code: 0, stderr: '' });
    const board = await glove('--rate', '100');
    const { code, stdout, stderr } = await upload(board.pty, '--yes', ...NO_SERVICE);
    expect(stderr).toBe('');
    expect(code).toBe(0);
    const sketch = at('mine/tautline_glove');
    const words = [
      ['compile', '--fqbn', 'esp32:esp32:esp32', '--library', at('mine/TautlineGlove'), sketch],
      ['upload', '--fqbn', 'esp32:esp32:esp32', '--port', board.pty, sketch],
    ];
    expect(runs()).toEqual(words);
    for (const command of words) expect(stdout).toContain(`arduino-cli ${command.join(' ')}`);
    expect(stdout.indexOf('What will be done')).toBeLessThan(stdout.indexOf('Written'));
    expect(stdout).toContain('! Take the glove off the hand and switch the servo supply off');
    expect(stdout).toContain('Written, and read back: firmware 1.1, right hand, 12 channels.');
  });

  it('is not believed to be there when the board says something else', async () => {
    const board = await glove('--rate', '100', '--firmware', '256');
    const { code, stderr } = await upload(board.pty, '--yes', ...NO_SERVICE);
    expect(code).toBe(4);
    expect(stderr).toMatch(/says 1\.0, not 1\.1\. It runs something else still/);
  });

  it('stays as it is when compiling fails, in one line of ours', async () => {
    writeFileSync(fails, 'compile\n');
    const { code, stderr } = await upload('/dev/tautline-nowhere', '--yes', ...NO_SERVICE);
    expect(code).toBe(1);
    expect(runs().map(([step]) => step)).toEqual(['compile']);
    expect(stderr).toMatch(
      /^Platform is not installed\ntautline: arduino-cli compile ended with 1; .*core install esp32:esp32/,
    );
  });

  it('is not written unasked, nor to an ATmega328P by this tool', async () => {
    expect(await upload('/dev/tautline-nowhere', ...NO_SERVICE)).toMatchObject({
      code: 2,
      stderr: expect.stringContaining('There is nobody here to ask.'),
    });
    await run('firmware', 'write', at('small'), '--board', 'avr');
    const { stderr } = await start(
      ['firmware', 'upload', at('small'), '--port', '/dev/ttyUSB0', '--yes'],
      undefined,
      { PATH: `${folder}:${process.env.PATH}` },
    ).outcome;
    expect(stderr).toContain(`Use: make -C ${at('small/avr')} flash PORT=/dev/ttyUSB0`);
    expect(runs()).toEqual([]);
  });

  it('is not written while a glove is armed, nor to a port that a service has', async () => {
    const [board, other] = [await glove('--rate', '100'), await glove('--rate', '100')];
    const service = await startServiceProcess(hostGloveProfile(board.pty));
    const url = ['--url', `127.0.0.1:${service.port}`];
    const app = await service.connect();
    app.send({ type: 'subscribe', streams: ['joints'] });
    await app.until(({ type }) => type === 'joints');
    const held = await upload(board.pty, '--yes', ...url);
    expect(held).toMatchObject({
      code: 4,
      stderr: expect.stringMatching(/is held by .*a service lets go of the port/),
    });
    expect(await armGlove(service)).toBe(true);
    // Any other board as well: whoever arms a glove wears it, and has no hand for this.
    const armed = await upload(other.pty, '--yes', ...url);
    expect(armed).toMatchObject({ code: 1, stderr: expect.stringContaining('The right glove is armed') });
    expect(runs()).toEqual([]);

    // Armed while it compiled: what is compiled is not written.
    await fetch(`http://127.0.0.1:${service.port}/disarm`, { method: 'POST' });
    writeFileSync(waits, '');
    const late = upload(other.pty, '--yes', ...url);
    await vi.waitFor(() => expect(runs()).toHaveLength(1), { timeout: 60_000, interval: 50 });
    await vi.waitFor(async () => expect(await armGlove(service)).toBe(true), {
      timeout: 10_000,
      interval: 100,
    });
    rmSync(waits);
    expect(await late).toMatchObject({ code: 1, stderr: expect.stringContaining('is armed') });
    expect(runs().map(([step]) => step)).toEqual(['compile']);
    await service.stop();
  });
});

describe.runIf(process.platform === 'linux')('an old board', () => {
  it('works as ever, and everybody says what an update brings', async () => {
    const board = await glove('--rate', '100', '--firmware', '256');
    const service = await startServiceProcess(hostGloveProfile(board.pty));
    const url = ['--url', `127.0.0.1:${service.port}`];
    const app = await service.connect();
    app.send({ type: 'subscribe', streams: ['joints'] });
    await app.until(({ type }) => type === 'joints');
    expect(await armGlove(service)).toBe(true);
    const brings = 'frees the fingers when its own program hangs';
    const { gloves: known } = (await (await fetch(`http://127.0.0.1:${service.port}/health`)).json()) as {
      gloves: { firmware: object; troubles: { what: string; state: string; says: string }[] }[];
    };
    expect(known[0].firmware).toMatchObject({ state: 'old', version: '1.0', ships: '1.1' });
    expect(known[0].troubles).toContainEqual(
      expect.objectContaining({
        what: 'firmware',
        state: 'attention',
        says: expect.stringContaining(brings),
      }),
    );
    const status = await run('status', ...url);
    expect(status.code).toBe(0);
    expect(status.stdout.replace(/\s+/g, ' ')).toContain(
      `firmware: The glove runs firmware 1.0; 1.1 comes with this program. New in it: It ${brings}`,
    );
    expect((await run('doctor', ...url)).stdout.replace(/\s+/g, ' ')).toContain(brings);
    const said = await run('firmware', 'status', ...url);
    expect(said.stdout.replace(/\s+/g, ' ')).toContain(
      `host glove (right): The glove runs firmware 1.0; 1.1 comes with this program. - New: It ${brings}`,
    );
    await service.stop();
    const port = await run('firmware', 'status', '--port', board.pty, '--json');
    expect(JSON.parse(port.stdout)).toMatchObject([{ hand: 'right', firmware: { state: 'old' } }]);
  });

  it('that says nothing of a version is not called old', async () => {
    const board = await glove('--rate', '100', '--firmware', '0');
    const { stdout, code } = await run('firmware', 'status', '--port', board.pty);
    expect(code).toBe(0);
    expect(stdout.replace(/\s+/g, ' ')).toContain(
      'The glove does not say which firmware it runs; 1.1 comes with',
    );
    expect(stdout).not.toContain('New:');
  });
});
