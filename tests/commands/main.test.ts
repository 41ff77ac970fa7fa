import { describe, expect, it } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { run } from './cli.js';

const COMMANDS = ['watch', 'arm', 'disarm', 'ports'];

describe.concurrent('tautline', () => {
  it('prints help with examples, exit codes and every command', async () => {
    const { code, stdout, stderr } = await run('--help');
    expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
    for (const command of COMMANDS) expect(stdout).toMatch(new RegExp(`^  ${command} `, 'm'));
    expect(stdout).toMatch(/Examples:\n {2}tautline run /);
    expect(stdout).toMatch(/Exit codes: 0 well, 2 /);
  });

  it.each(COMMANDS)('%s --help shows an example of its use', async (command) => {
    const { code, stdout, stderr } = await run(command, '--help');
    expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
    expect(stdout).toMatch(new RegExp(`Examples?:\\n  tautline ${command}\\b`));
  });

  it('prints its version', async () => {
    expect(await run('--version')).toEqual({ code: 0, stdout: `${packageJson.version}\n`, stderr: '' });
  });

  it('without a command, prints help on stderr and fails', async () => {
    const { code, stdout, stderr } = await run();
    expect({ code, stdout }).toEqual({ code: 2, stdout: '' });
    expect(stderr).toMatch(/^Usage: tautline /);
  });

  it.each([
    [['wacth'], 2, "unknown command 'wacth' (Did you mean watch?)"],
    [
      ['disarm', '--url', 'ftp://x'],
      2,
      '--url ftp://x is no address of a service. Write such as http://127.0.0.1:7117.',
    ],
  ])('%j ends with %i and one line', async (args, code, line) => {
    expect(await run(...args)).toEqual({ code, stdout: '', stderr: `tautline: ${line}\n` });
  });

  it('ports --json prints a JSON list', async () => {
    const { code, stdout } = await run('ports', '--json');
    expect(code).toBe(0);
    expect(JSON.parse(stdout)).toBeInstanceOf(Array);
  });
});
