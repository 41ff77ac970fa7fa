import { spawnSync } from 'node:child_process';

/** Runs a program of the system. The one thing of Windows that registration needs, so that tests can stand in for it. */
export type RunProgram = (
  command: string,
  args: readonly string[],
) => { status: number | null; stdout: string };

export const runProgram: RunProgram = (command, args) => {
  const { status, stdout } = spawnSync(command, args, { encoding: 'utf8', windowsHide: true });
  return { status, stdout: stdout ?? '' };
};

/** Where the loader reads implicit layers on Windows (loader document of OpenXR, "Windows Manifest Registry Usage"). */
const KEY = 'SOFTWARE\\Khronos\\OpenXR\\1\\ApiLayers\\Implicit';
export const USER_KEY = `HKCU\\${KEY}`;
export const MACHINE_KEY = `HKLM\\${KEY}`;
/** The loader of 64-bit programs reads the 64-bit view. */
const VIEW = '/reg:64';

export interface RegistryValue {
  /** Full path of a manifest. */
  name: string;
  /** Anything but 0 tells the loader to pass over it. */
  data: number;
}

/** Arguments of reg.exe, as `reg /?` describes them. */
export const addValue = (key: string, name: string): string[] => [
  ...['add', key, '/v', name],
  ...['/t', 'REG_DWORD', '/d', '0', '/f', VIEW],
];
export const deleteValue = (key: string, name: string): string[] => ['delete', key, '/v', name, '/f', VIEW];
export const deleteKey = (key: string): string[] => ['delete', key, '/f', VIEW];

/** The DWORDs of a key; none when it is not there. */
export function readValues(run: RunProgram, key: string): RegistryValue[] {
  const { status, stdout } = run('reg', ['query', key, VIEW]);
  return status === 0 ? parseValues(stdout) : [];
}

/** Lines of `reg query`: four spaces, name, four spaces, type, four spaces, value. */
export function parseValues(text: string): RegistryValue[] {
  return [...text.matchAll(/^ {4}(\S.*?) {4}REG_DWORD {4}0x([0-9a-f]+)\s*$/gim)].map(([, name, data]) => ({
    name,
    data: Number.parseInt(data, 16),
  }));
}

/**
 * The value of one name. Asked for by name, since what reg prints is in a code page that need not have the name's letters.
 */
export function readValue(run: RunProgram, key: string, name: string): number | undefined {
  const { status, stdout } = run('reg', ['query', key, '/v', name, VIEW]);
  const data = /REG_DWORD {4}0x([0-9a-f]+)/i.exec(stdout)?.[1];
  return status === 0 && data !== undefined ? Number.parseInt(data, 16) : undefined;
}

/** The keys that hold nothing once this one's last value is gone, from the inside out, up to the standard's own. */
export function emptyKeys(run: RunProgram, key: string): string[] {
  const empty: string[] = [];
  let gone = '';
  for (let at = key; /\\Khronos/i.test(at); at = at.slice(0, at.lastIndexOf('\\'))) {
    const { status, stdout } = run('reg', ['query', at, VIEW]);
    if (status !== 0) break;
    const holds = stdout
      .split(/\r?\n/)
      .map((line) => line.trim())
      .filter((line) => line !== '' && !sameKey(line, at) && !sameKey(line, gone));
    if (holds.length > 0) break;
    empty.push(at);
    gone = at;
  }
  return empty;
}

const ROOTS: Record<string, string> = { HKCU: 'HKEY_CURRENT_USER', HKLM: 'HKEY_LOCAL_MACHINE' };
function sameKey(printed: string, key: string): boolean {
  const root = key.split('\\', 1)[0];
  return printed.toLowerCase() === `${ROOTS[root] ?? root}${key.slice(root.length)}`.toLowerCase();
}
