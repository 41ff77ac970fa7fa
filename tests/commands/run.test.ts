import { describe, expect, it, onTestFinished } from 'vitest';
import { describeGloves } from '../../src/commands/run.js';
import { parseProfile } from '../../src/config/load.js';
import { run, start } from './cli.js';

describe('run', () => {
  it('serves the simulated glove to watch, arm and disarm, until a signal', async () => {
    const service = start(['run', '--listen', '127.0.0.1:0', '--log-level', 'error']);
    onTestFinished(() => void service.process.kill());
    const line = await service.said('\n');
    expect(line).toMatch(
      /^Tautline is listening on ws:\/\/127\.0\.0\.1:\d+\/stream \(1 glove: right, simulated\)\n$/,
    );
    const url = /ws:\S+/.exec(line)?.[0] ?? '';
    const [watched, again, armed] = await Promise.all([
      run('watch', '--once', '--url', url),
      run('run', '--listen', new URL(url).host),
      run('arm', '--url', url),
    ]);
    expect(watched).toMatchObject({ code: 0, stderr: '' });
    expect(watched.stdout).toMatch(/^right, thumb \d+%.*, index \d+%.*, little \d+%.*, live, (dis)?armed\n$/);
    expect(again).toMatchObject({ code: 5, stdout: '' });
    expect(again.stderr).toMatch(/^tautline: Another program listens on 127\.0\.0\.1:\d+\. .*\n$/);
    expect(armed).toMatchObject({ code: 0, stderr: '' });
    expect(armed.stdout).toMatch(/^right hand: armed, fingers can be stopped\n/);
    expect(await run('disarm', '--url', url)).toMatchObject({
      code: 0,
      stdout: 'right hand: disarmed, every finger is free\n',
    });
    service.process.kill('SIGTERM');
    expect(await service.outcome).toEqual({ code: 0, stdout: line, stderr: '' });
  });

  it('says when the wearer who is named was never fitted', async () => {
    const service = start(['run', '--listen', '127.0.0.1:0', '--person', 'Robin']);
    onTestFinished(() => void service.process.kill());
    await service.said('listening');
    service.process.kill('SIGTERM');
    const { code, stderr } = await service.outcome;
    expect(code).toBe(0);
    expect(stderr).toMatch(
      /there is no fit of Robin for the right hand, so the numbers of the profile are used \(fitted: nobody yet\); make one with `tautline fit --person Robin`/,
    );
  });

  it('names the gloves of a profile', () => {
    const glove = (hand: string, kind: string) =>
      `{ name: g, hand: ${hand}, link: { kind: ${kind} }, channels: [] }`;
    const profile = parseProfile(
      `profile: 1\ngloves: [${glove('left', 'serial')}, ${glove('right', 'ble')}]`,
      'two.yaml',
    );
    expect(describeGloves(profile)).toBe('2 gloves: left, serial; right, ble');
  });
});
