import { readdir, readFile, readlink, realpath } from 'node:fs/promises';

/**
 * Names of the programs that have each port open, as far as we may know: files of other users' processes are
 * hidden from us, and other systems than Linux do not tell.
 */
export async function findHolders(paths: readonly string[]): Promise<Map<string, string[]>> {
  const holders = new Map<string, string[]>(paths.map((path) => [path, []]));
  if (process.platform !== 'linux') return holders;
  const devices = new Map<string, string[]>();
  for (const path of paths) {
    const device = await realpath(path).catch(() => path);
    devices.set(device, [...(devices.get(device) ?? []), path]);
  }
  for (const pid of (await readdir('/proc')).filter((name) => /^\d+$/.test(name))) {
    const files = await readdir(`/proc/${pid}/fd`).catch(() => []);
    const open = new Set(
      await Promise.all(files.map((fd) => readlink(`/proc/${pid}/fd/${fd}`).catch(() => ''))),
    );
    for (const [device, names] of devices) {
      if (!open.has(device)) continue;
      const holder = await nameOf(pid);
      for (const path of names) holders.get(path)!.push(holder);
    }
  }
  return holders;
}

async function nameOf(pid: string): Promise<string> {
  if (Number(pid) === process.pid) return 'this service itself';
  const name = await readFile(`/proc/${pid}/comm`, 'utf8').catch(() => 'a program');
  return `${name.trim()} (process ${pid})`;
}
