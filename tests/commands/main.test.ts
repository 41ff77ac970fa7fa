import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { describe, expect, it } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { run } from './cli.js';

const COMMANDS = ['run', 'watch', 'arm', 'disarm', 'ports', 'extension'];

describe.concurrent('tautline', () => {
  it('prints help with examples, exit codes and every command', async () => {
    const { code, stdout, stderr } = await run('--help');
    expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
    for (const command of COMMANDS) expect(stdout).toMatch(new RegExp(`^  ${command} `, 'm'));
    expect(stdout).toMatch(/Examples:\n {2}tautline run /);
    expect(stdout).toMatch(/Exit codes: 0 well, 1 a failed check, 2 /);
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
    [['rnu'], 2, "unknown command 'rnu' (Did you mean run?)"],
    [['run', '--profil', 'x'], 2, "unknown option '--profil' (Did you mean --profile?)"],
    [['run', '--port'], 2, "option '--port <path>' argument missing. See `tautline run --help`."],
    [['sizing', '--foo'], 2, "unknown option '--foo'. See `tautline sizing --help`."],
    [['session', 'glue'], 2, "unknown command 'glue'. See `tautline session --help`."],
    [['info'], 2, "missing required argument 'file'. See `tautline info --help`."],
    [['zzz'], 2, "unknown command 'zzz'. See `tautline --help`."],
    [
      ['run', 'x.yaml'],
      2,
      "too many arguments for 'run'. Expected 0 arguments but got 1. See `tautline run --help`.",
    ],
    [
      ['run', '--log-level', 'loud'],
      2,
      "option '--log-level <level>' argument 'loud' is invalid. Allowed choices are silent, fatal, error, warn, info, debug, trace.",
    ],
    [
      ['run', '--listen', 'a:b:c'],
      2,
      '--listen a:b:c is not an address. Write HOST:PORT, such as 127.0.0.1:7117.',
    ],
    [
      ['run', '--listen', '0.0.0.0:0'],
      5,
      'stream.host 0.0.0.0 can be reached from other machines, and no stream.token is set. Set a token of 16 characters or more, or listen on 127.0.0.1.',
    ],
    [
      ['run', '--port', 'COM3'],
      2,
      '--port needs a profile with one serial glove; the simulated one has 0. Name yours with --profile.',
    ],
    [
      ['run', '--profile', '/no/such.yaml'],
      3,
      `/no/such.yaml: no such file. Check the path, or copy one of the examples in ${resolve('config')} there.`,
    ],
    [
      ['disarm', '--url', 'ftp://x'],
      2,
      '--url ftp://x is not the address of a service. Write such as http://127.0.0.1:7117.',
    ],
  ])('%j ends with %i and one line', async (args, code, line) => {
    expect(await run(...args)).toEqual({ code, stdout: '', stderr: `tautline: ${line}\n` });
  });

  it('says every problem of a profile, a line each', async () => {
    const directory = await mkdtemp(join(tmpdir(), 'tautline-'));
    const path = join(directory, 'bad.yaml');
    await writeFile(path, 'profile: 1\ngloves: []\nstraem: {}\n');
    const { code, stderr } = await run('run', '--profile', path);
    await rm(directory, { recursive: true });
    expect(code).toBe(3);
    expect(stderr.split('\n')).toEqual([
      `tautline: ${path}:2:9: gloves must have at least 1 item, but has 0.`,
      `tautline: ${path}:3:1: unknown key "straem" in the profile; did you mean "stream"?`,
      '',
    ]);
  });

  it('ports --json prints a JSON list', async () => {
    const { code, stdout } = await run('ports', '--json');
    expect(code).toBe(0);
    expect(JSON.parse(stdout)).toBeInstanceOf(Array);
  });
});
