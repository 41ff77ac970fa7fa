import { spawnSync } from 'node:child_process';
import { mkdirSync, rmdirSync, rmSync, writeFileSync } from 'node:fs';
import { TautlineError } from '../errors.js';
import type { Step } from './plan.js';

/** @throws TautlineError fileDenied, notSupported: what could not be done, and what to do about it */
export function runStep(step: Step): void {
  if (step.kind === 'run') {
    const { status, error, stderr, stdout } = spawnSync(step.command, step.args, { encoding: 'utf8' });
    if (step.mayFail || (!error && status === 0)) return;
    const said = (error?.message ?? `${stderr}${stdout}`).trim().split('\n').at(-1) ?? '';
    const line = [step.command, ...step.args].join(' ');
    throw new TautlineError(
      'notSupported',
      `${line} failed: ${said || `it ended with ${status}`}.`,
      step.command === 'reg'
        ? 'Check that you may change your own registry; docs/openxr.md has the value to make by hand.'
        : step.command === 'systemctl'
          ? 'Without systemd for users (a container, another init system) start `tautline run` by your own means.'
          : 'Start `tautline run` by your own means.',
    );
  }
  if (step.kind === 'prune') {
    try {
      rmdirSync(step.path);
    } catch {
      // Others have something in it, or it is not there.
    }
    return;
  }
  try {
    if (step.kind === 'folder') mkdirSync(step.path, { recursive: true, mode: 0o700 });
    else if (step.kind === 'write') writeFileSync(step.path, step.text, step.encoding ?? 'utf8');
    else rmSync(step.path, { force: true });
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    throw new TautlineError(
      'fileDenied',
      `${step.path}: it cannot be ${step.kind === 'remove' ? 'removed' : 'made'} (${code}).`,
      'Check who owns the folder.',
    );
  }
}
