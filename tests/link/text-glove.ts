import { spawn } from 'node:child_process';
import { once } from 'node:events';

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

/** @param line what it prints, asked anew for each reading; @param ms time since its start */
export async function startTextGlove(line: (ms: number) => string, rateHz = 100): Promise<TextGlove> {
  const bridge = spawn(BRIDGE, { stdio: ['pipe', 'pipe', 'inherit'] });
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
  while (pty === undefined) await once(bridge.stdout, 'data');

  const startMs = performance.now();
  const timer = setInterval(() => {
    bridge.stdin.write(`${line(Math.round(performance.now() - startMs))}\r\n`);
  }, 1000 / rateHz);
  return {
    pty,
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
    async quit() {
      clearInterval(timer);
      bridge.stdin.end();
      await ended;
    },
  };
}
