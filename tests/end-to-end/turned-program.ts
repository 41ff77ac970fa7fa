import { MAIN, type Running, start } from '../commands/cli.js';

const TURNED_TIME = new URL('turned-time.mjs', import.meta.url).href;

/** A command in a process of its own, whose time a test turns: the same on every machine, and as fast as it goes. */
export interface TurnedProgram extends Running {
  /**
   * Time passes in it: its timers run, and what has come in by now is read.
   * @returns false when it has ended
   */
  pass(ms: number): Promise<boolean>;
}

/** Starts the command line as it is installed; its time stands still until it is let pass. */
export function startTurned(args: readonly string[], env: Record<string, string>): TurnedProgram {
  const running = start(args, ['--import', TURNED_TIME, MAIN], env, { turned: true });
  const { process: child } = running;
  let answered = (_: boolean): void => {};
  // What it printed meanwhile may come after the answer.
  child.on('message', () => setImmediate(() => answered(true)));
  const ended = running.outcome.then(() => false);
  return {
    ...running,
    pass(ms) {
      if (!child.connected) return ended;
      const answer = new Promise<boolean>((resolve) => {
        answered = resolve;
      });
      // It may end between the question and the answer.
      child.send(ms, () => {});
      return Promise.race([answer, ended]);
    },
  };
}
