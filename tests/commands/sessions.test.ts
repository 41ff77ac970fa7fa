import { spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import WebSocket from 'ws';
import { run, start } from './cli.js';

/** The commands about sessions, each as a process of its own. */

// A process can take ten seconds to start on a machine that has other work.
vi.setConfig({ testTimeout: 120_000 });

const EVERYDAY = 'config/sessions/everyday.mcap';
const GRASP = 'config/sessions/grasp.mcap';
const folder = mkdtempSync(join(tmpdir(), 'tautline-sessions-'));
const inFolder = (name: string) => join(folder, name);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

beforeAll(() => {
  writeFileSync(inFolder('foreign.mcap'), 'This is a shopping list.\n'.repeat(20));
  writeFileSync(inFolder('there.mcap'), 'kept');
});

describe('what they do', () => {
  it('records by itself until it is ended, with notes, and tells what is in it', async () => {
    const file = inFolder('new.mcap');
    const recording = start(['record', file, '--profile', 'config/simulated.yaml', '--joints']);
    await recording.said('Recording into');
    while (statSync(file, { throwIfNoEntry: false })?.size === undefined || statSync(file).size < 150_000) {
      await new Promise((resolve) => setTimeout(resolve, 50));
    }
    recording.process.kill('SIGINT');
    const { code, stdout } = await recording.outcome;
    expect(code).toBe(0);
    expect(stdout).toMatch(/new\.mcap: \d+\.\d s, 0\.\d\d MB/);
    const info = await run('info', file);
    expect(info.code).toBe(0);
    expect(info.stdout).toMatch(/\d+ samples, \d+\.\d a second of 500 promised; 0 lost, 0 damaged/);
    expect(info.stdout).not.toContain('killed');
    const compared = await run('replay', file, '--compare');
    expect(compared.stdout).toContain('The joints agree.');
    expect(compared.code).toBe(0);
  });

  it('tells what is in a session, for programs too', async () => {
    const { code, stdout } = await run('info', '--json', GRASP);
    expect(code).toBe(0);
    const info = JSON.parse(stdout);
    expect(info).toMatchObject({ complete: true, hands: [{ hand: 'right', samples: 639, holds: 2 }] });
    expect(info.marks[0]).toEqual({ atS: expect.closeTo(0.6, 2), text: 'closes on a ball' });
  });

  it('replays at full speed to the end, and ends with it', async () => {
    const { code, stdout, stderr } = await run('replay', GRASP, '--speed', 'max', '--listen', '127.0.0.1:0');
    expect(stderr).toBe('');
    expect(stdout).toMatch(/Replayed up to 6\.\d s/);
    expect(code).toBe(0);
  });

  it('waits with --wait until an app has subscribed, which then sees the session from its start', async () => {
    const args = ['--wait', '--until', '2', '--speed', 'max', '--listen', '127.0.0.1:0'];
    const replay = start(['replay', GRASP, ...args]);
    const said = await replay.said('begins when an app has subscribed');
    const app = new WebSocket(/ws:\S+/.exec(said)![0]);
    await once(app, 'open');
    const first = new Promise<{ timeUs: number; valid: boolean }>((resolve) => {
      app.on('message', (data) => {
        const message = JSON.parse(String(data));
        if (message.type === 'joints' && message.valid) resolve(message);
      });
    });
    app.send(JSON.stringify({ type: 'subscribe', streams: ['joints'] }));
    expect((await first).valid).toBe(true);
    const { code, stdout } = await replay.outcome;
    expect(stdout).toMatch(/Replayed up to 2\.0 s/);
    expect(code).toBe(0);
  });

  it.each([
    ['csv', /^time \[s\],/],
    ['ndjson', /^\{/],
    ['glb', /^glTF/],
  ])('exports to %s', async (kind, start) => {
    const out = inFolder(`out.${kind}`);
    const { code, stderr } = await run('export', GRASP, '--to', kind, '--output', out);
    expect(stderr).toBe('');
    expect(code).toBe(0);
    expect(readFileSync(out, 'latin1')).toMatch(start);
  });

  it('cuts, anonymises and merges', async () => {
    const [cut, shared, left] = ['cut.mcap', 'shared.mcap', 'left.mcap'].map(inFolder);
    const done = await run('session', 'cut', GRASP, '--from', '1', '--to', '3', '--output', cut);
    expect(done).toEqual({ code: 0, stdout: `${cut}: written\n`, stderr: '' });
    expect((await run('info', cut)).stdout).toMatch(/: 0:0[12]\.\d\d,/);
    expect((await run('session', 'anonymise', GRASP, '--output', shared)).code).toBe(0);
    expect(readFileSync(shared).includes('closes on a ball')).toBe(false);
    // A left hand of its own: the other of the two is left out by merging with nothing of it.
    const both = await run('session', 'merge', GRASP, EVERYDAY, '--output', left);
    expect(both.code).toBe(2);
    expect(both.stderr).toBe(
      'tautline: Both sessions have a right hand. Merge a left one with a right one.\n',
    );
  });
});

describe('what a user can get wrong: one line, and nothing is lost', () => {
  const faults: [string, string[], number, RegExp][] = [
    ['a file that is not there', ['info', 'nowhere.mcap'], 6, /nowhere\.mcap/],
    ['a folder', ['info', folder], 6, /tautline-sessions/],
    ['a foreign file', ['info', inFolder('foreign.mcap')], 6, /foreign\.mcap.*MCAP/],
    ['a foreign file to replay', ['replay', inFolder('foreign.mcap')], 6, /foreign\.mcap/],
    [
      'a foreign file to export',
      ['export', inFolder('foreign.mcap'), '--to', 'csv', '--output', 'x'],
      6,
      /foreign/,
    ],
    ['an unknown format', ['export', GRASP, '--to', 'pdf', '--output', 'x'], 2, /csv.*ndjson.*glb/s],
    [
      'an output that exists',
      ['session', 'cut', GRASP, '--output', inFolder('there.mcap')],
      6,
      /there\.mcap/,
    ],
    [
      'an export over a file',
      ['export', GRASP, '--to', 'csv', '--output', inFolder('there.mcap')],
      6,
      /there\.mcap/,
    ],
    [
      'a recording over a file',
      ['record', inFolder('there.mcap'), '--profile', 'config/simulated.yaml'],
      6,
      /there/,
    ],
    [
      'an output in no folder',
      ['export', GRASP, '--to', 'csv', '--output', inFolder('no/x.csv')],
      6,
      /no\/x\.csv/,
    ],
    [
      'a recording in no folder',
      ['record', inFolder('no/x.mcap'), '--profile', 'config/simulated.yaml'],
      6,
      /no\/x/,
    ],
    [
      'times that leave nothing',
      ['session', 'cut', GRASP, '--from', '5', '--to', '2', '--output', 'x'],
      2,
      /nothing/,
    ],
    [
      'a replay of nothing',
      ['replay', GRASP, '--from', '5', '--until', '2', '--listen', '127.0.0.1:0'],
      2,
      /--from/,
    ],
    [
      'a replay from behind the end',
      ['replay', GRASP, '--from', '500', '--listen', '127.0.0.1:0'],
      2,
      /grasp\.mcap has \d+\.\d\d s: nothing lies after --from 500\./,
    ],
    ['a speed that is none', ['replay', GRASP, '--speed', 'fast'], 2, /--speed/],
    ['nothing to compare with', ['replay', GRASP, '--compare'], 2, /no joints were recorded/],
    ['a profile that is not there', ['replay', GRASP, '--profile', 'no.yaml'], 3, /no\.yaml/],
    ['serving and comparing', ['replay', GRASP, '--compare', '--loop'], 2, /--compare/],
  ];
  it.each(faults)('%s', async (_, args, exit, says) => {
    const { code, stdout, stderr } = await run(...args);
    expect(stderr).toMatch(says);
    expect(stderr.trim().split('\n').length).toBeLessThanOrEqual(2);
    expect(stderr).not.toMatch(/\bat .*:\d+:\d+/);
    expect(code).toBe(exit);
    expect(stdout).toBe('');
    expect(readFileSync(inFolder('there.mcap'), 'utf8')).toBe('kept');
  });
});

// A file that may not grow is as near to a full disk as a test without privileges comes: the same write fails.
it.runIf(process.platform !== 'win32')(
  'keeps what was written when the file may not grow any more',
  async () => {
    const file = inFolder('limited.mcap');
    const { status, stderr } = spawnSync(
      'bash',
      [
        '-c',
        `ulimit -f 120; exec "${process.execPath}" dist/main.js record "${file}" --profile config/simulated.yaml`,
      ],
      { encoding: 'utf8', timeout: 90_000 },
    );
    const line = `${file}: the file may not grow any more; what was recorded until now is in the file.`;
    expect(stderr.split(line)).toHaveLength(2);
    expect(status).toBe(6);
    const { code, stdout } = await run('info', file);
    expect(code).toBe(0);
    expect(stdout).toMatch(/ [1-9]\d\d+ samples/);
  },
);
