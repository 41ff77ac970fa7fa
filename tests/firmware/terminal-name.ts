import { mkdtempSync, rmSync, symlinkSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

/**
 * A name of its own for a pseudo-terminal. The system gives the number of one that is gone to the next that is opened: a
 * service that goes on trying it would take the glove of another test, which then finds its port held.
 */
export interface TerminalName {
  readonly path: string;
  /** No service finds the terminal any more. */
  forget(): void;
}

let folder: string | undefined;
let names = 0;

export function nameTerminal(pty: string): TerminalName {
  if (folder === undefined) {
    const made = mkdtempSync(join(tmpdir(), 'tautline-pty-'));
    process.once('exit', () => rmSync(made, { recursive: true, force: true }));
    folder = made;
  }
  const path = join(folder, `tty${names++}`);
  symlinkSync(pty, path);
  return { path, forget: () => rmSync(path, { force: true }) };
}
