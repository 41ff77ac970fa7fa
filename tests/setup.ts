import { execFileSync } from 'node:child_process';

/** Builds what the end-to-end tests run as real processes: dist/ and the host firmware. */
export default function setup(): void {
  execFileSync('npm', ['run', '--silent', 'build'], {
    stdio: 'inherit',
    shell: process.platform === 'win32',
  });
}
