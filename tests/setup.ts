import { execFileSync, spawnSync } from 'node:child_process';

/** Builds what the end-to-end tests run as real processes: dist/ and the host firmware. */
export default function setup(): void {
  execFileSync('npm', ['run', '--silent', 'build'], {
    stdio: 'inherit',
    shell: process.platform === 'win32',
  });
  buildHostFirmware();
}

function buildHostFirmware(): void {
  for (const program of ['make', process.env.CXX ?? 'g++']) {
    if (spawnSync(program, ['--version']).error !== undefined) {
      throw new Error(
        `${program} is missing: install g++ and make (Debian, Ubuntu: apt install build-essential)`,
      );
    }
  }
  execFileSync('make', ['--silent', '-C', 'src/firmware/host'], { stdio: 'inherit' });
}
