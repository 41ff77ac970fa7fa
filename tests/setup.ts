import { spawn } from 'node:child_process';
import { existsSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { MOSQUITTO } from './fleet/mosquitto.js';
import { need, needBrowser } from './requirements.js';

/** Builds what the tests run as real processes, dist/ and the host firmware, and the image for the simulated chip. */
export default async function setup(): Promise<void> {
  // Asked once a project of the runner's; the first has done it for all.
  if (process.env.TAUTLINE_TESTS_BUILT === '1') return;
  process.env.TAUTLINE_TESTS_BUILT = '1';
  need('make', 'make');
  need(process.env.CXX ?? 'g++', 'g++');
  need('avr-g++', 'gcc-avr', 'avr-libc');
  // The stand-in for BlueZ speaks over a bus of its own.
  if (process.platform === 'linux') need('dbus-daemon', 'dbus');
  process.env.CHROMIUM_PATH = await needBrowser();
  need('python3', 'python3');
  need('curl', 'curl', 'ca-certificates');
  // Debian keeps it where only root looks.
  need(existsSync(MOSQUITTO) ? MOSQUITTO : 'mosquitto', 'mosquitto');
  need('openssl', 'openssl');
  await Promise.all([
    run('npm', 'run', '--silent', 'build'),
    run('make', '--silent', '--jobs', `${availableParallelism()}`, '-C', 'src/firmware/host', 'all'),
    run('make', '--silent', '-C', 'src/firmware/avr', 'all'),
  ]);
}

async function run(program: string, ...args: string[]): Promise<void> {
  const child = spawn(program, args, { stdio: 'inherit', shell: process.platform === 'win32' });
  const code = await new Promise((done, fail) => child.once('error', fail).once('close', done));
  if (code !== 0) throw new Error(`${[program, ...args].join(' ')} ended with ${code}.`);
}
