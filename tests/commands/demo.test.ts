import { readdirSync } from 'node:fs';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { describe, expect, it } from 'vitest';
import { DEMO_NAMES } from '../../scripts/demo-files.js';
import { DEMOS } from '../../src/commands/demo.js';
import { run, start } from './cli.js';

describe('tautline demo', () => {
  it('lists every demo that was built', async () => {
    expect(Object.keys(DEMOS).sort()).toEqual([...DEMO_NAMES].sort());
    const built = readdirSync('dist/demos');
    for (const name of Object.keys(DEMOS)) expect(built).toContain(`${name}.html`);
    const { code, stdout } = await run('demo');
    expect(code).toBe(0);
    expect(stdout.trim().split('\n')).toHaveLength(Object.keys(DEMOS).length);
    for (const [name, what] of Object.entries(DEMOS)) {
      expect(stdout).toMatch(new RegExp(`^  tautline demo ${name} +${what}$`, 'm'));
    }
  });

  it('starts a service with two simulated hands, and uses one that runs', async () => {
    const first = start(['demo', 'catch', '--url', '127.0.0.1:0']);
    const said = await first.said('The demo is at');
    const [, address] = /The demo is at (\S+)/.exec(said)!;
    expect(said).toContain('2 gloves: right, simulated; left, simulated');
    expect(address).toMatch(/^http:\/\/127\.0\.0\.1:\d+\/demos\/catch\.html$/);
    expect(await (await fetch(address)).text()).toContain('<title>Catch</title>');
    const { origin } = new URL(address);
    expect(await run('demo', 'keys', '--url', origin)).toEqual({
      code: 0,
      stdout: `The demo is at ${origin}/demos/keys.html\n`,
      stderr: '',
    });
    first.process.kill('SIGINT');
    expect(await first.outcome).toMatchObject({ code: 0, stderr: '' });
  });

  it('says what is wrong in one line', async () => {
    expect(await run('demo', 'juggle')).toEqual({
      code: 2,
      stdout: '',
      stderr: `tautline: There is no demo "juggle". Name one of these: ${Object.keys(DEMOS).join(', ')}.\n`,
    });
    const other = createServer((_request, response) => response.end('hello')).listen(0, '127.0.0.1');
    await new Promise((resolve) => other.once('listening', resolve));
    const { port } = other.address() as AddressInfo;
    const { code, stderr } = await run('demo', 'catch', '--url', `127.0.0.1:${port}`);
    other.close();
    expect(code).toBe(7);
    expect(stderr).toMatch(/^tautline: 127\.0\.0\.1:\d+ answered 200: no Tautline service\..*\n$/);
  });
});
