import { describe, expect, it } from 'vitest';
import { start } from '../cli.js';

const LIFETIME = new URL('../../../src/commands/shared/lifetime.ts', import.meta.url).href;

/** A process that keeps something whose close says so, then does what `after` says. */
function keeping(after: string, close = "console.log('freed')") {
  const source = `
    import { keepRunning } from ${JSON.stringify(LIFETIME)};
    import { pino } from 'pino';
    const logger = pino({ level: 'silent' });
    setInterval(() => {}, 1000);
    await keepRunning(logger, async () => ({ close: async () => { ${close} } }));
    ${after};
    console.log('started');`;
  return start(['--import', 'tsx', '--input-type=module', '--eval', source], []);
}

describe.concurrent('keepRunning', () => {
  it.each(['SIGINT', 'SIGTERM', 'SIGHUP'] as const)('%s closes, then ends with 0', async (signal) => {
    const running = keeping('');
    await running.said('started');
    running.process.kill(signal);
    expect(await running.outcome).toEqual({ code: 0, stdout: 'started\nfreed\n', stderr: '' });
  });

  it('a second signal ends at once with 130', async () => {
    const running = keeping('', "console.log('closing'); await new Promise(() => {})");
    await running.said('started');
    running.process.kill('SIGINT');
    await running.said('closing');
    running.process.kill('SIGINT');
    expect(await running.outcome).toMatchObject({ code: 130 });
  });

  it('a close that hangs is given up after a time', async () => {
    const running = keeping('', 'await new Promise(() => {})');
    await running.said('started');
    running.process.kill('SIGTERM');
    expect(await running.outcome).toMatchObject({ code: 70 });
  });

  it.each([
    ['an exception nobody caught', "setTimeout(() => { throw new Error('a\\nb'); }, 1)"],
    ['a rejection nobody handled', "void Promise.reject(new Error('a\\nb'))"],
  ])('%s frees the fingers and ends with 70 and one line', async (_, after) => {
    const { code, stdout, stderr } = await keeping(after).outcome;
    expect(code).toBe(70);
    expect(stdout).toContain('freed\n');
    expect(stderr).toBe('tautline: A fault in the program: a b. Freeing every finger, then ending.\n');
  });
});
