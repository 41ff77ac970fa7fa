import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { nameTerminal } from '../firmware/terminal-name.js';

const BRIDGE = 'src/firmware/build/pty-bridge';

/** A glove with a firmware of its own: prints lines of text on a pseudo-terminal and keeps what it hears. */
export interface TextGlove {
  pty: string;
  /** Every whole line heard so far. */
  heard: string[];
  /** Resolves with the first line, old or new, that fits. */
  hears(fits: (line: string) => boolean): Promise<string>;
  quit(): Promise<void>;
}

/** One that prints when it is asked to. */
export interface TurnedTextGlove extends TextGlove {
  /** Resolves once the terminal has the line. */
  print(line: string): Promise<void>;
}

export async function openTextGlove(): Promise<TurnedTextGlove> {
  const bridge = spawn(BRIDGE, ['--acknowledge'], { stdio: 'pipe' });
  const ended = once(bridge, 'exit');
  bridge.stdin.on('error', () => {});
  bridge.stdout.setEncoding('latin1');
  const heard: string[] = [];
  let wake = (): void => {};
  let text = '';
  let pty: string | undefined;
  bridge.stdout.on('data', (chunk: string) => {
    const lines = (text + chunk).split('\n');
    text = lines.pop()!;
    if (pty === undefined) pty = lines.shift();
    heard.push(...lines);
    wake();
  });
  let printed = (): void => {};
  bridge.stderr.setEncoding('latin1').on('data', (said: string) => {
    if (said.trim() === '') printed();
    else process.stderr.write(said);
  });
  while (pty === undefined) await once(bridge.stdout, 'data');

  const name = nameTerminal(pty);
  return {
    pty: name.path,
    heard,
    async hears(fits) {
      for (;;) {
        const found = heard.find(fits);
        if (found !== undefined) return found;
        await new Promise<void>((resolve) => {
          wake = resolve;
        });
      }
    },
    print: (line) =>
      new Promise((resolve) => {
        printed = resolve;
        bridge.stdin.write(`${line}\r\n`);
      }),
    async quit() {
      name.forget();
      bridge.stdin.end();
      await ended;
    },
  };
}

/** @param line what it prints, asked anew for each reading; @param ms time since its start */
export async function startTextGlove(line: (ms: number) => string, rateHz = 100): Promise<TextGlove> {
  const glove = await openTextGlove();
  const startMs = performance.now();
  const timer = setInterval(() => {
    void glove.print(line(Math.round(performance.now() - startMs)));
  }, 1000 / rateHz);
  return {
    ...glove,
    async quit() {
      clearInterval(timer);
      await glove.quit();
    },
  };
}
