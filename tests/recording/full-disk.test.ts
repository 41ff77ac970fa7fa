import { execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, statfsSync, writeFileSync } from 'node:fs';
import { open } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import { TautlineError } from '../../src/errors.js';
import { LEAST_FREE_BYTES, requireDiskSpace } from '../../src/recording/disk-space.js';
import { openFileSink } from '../../src/recording/file-sink.js';
import { startRecorder } from '../../src/recording/recorder.js';
import { type Service, startService } from '../../src/service.js';
import { createHandClock, silent, simulatedGloves, simulatedProfile } from './live-glove.js';

const cleanups: (() => unknown)[] = [];
afterEach(async () => {
  for (const cleanup of cleanups.splice(0).reverse()) await cleanup();
});

function newFolder(): string {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-full-'));
  cleanups.push(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
}

async function serve(sessionsFolder: string): Promise<string> {
  const profile = simulatedProfile(['right'], 100);
  profile.stream.port = 0;
  const service: Service = await startService({ profile, logger: silent, sessionsFolder });
  cleanups.push(() => service.close());
  return `http://${new URL(service.address).host}`;
}

async function ask(method: string, url: string) {
  const response = await fetch(url, { method });
  return { status: response.status, body: (await response.json()) as Record<string, unknown> };
}

async function runCommand(args: string[]): Promise<{ status: number | null; stderr: string }> {
  const child = spawn(process.execPath, args, { stdio: ['ignore', 'ignore', 'pipe'] });
  let stderr = '';
  child.stderr.on('data', (text: Buffer) => {
    stderr += text.toString();
  });
  const [status] = (await once(child, 'close')) as [number | null];
  return { status, stderr };
}

describe('a small file system, filled', () => {
  const SIZE_MB = 24;

  /** A file system of its own, of so many MB. */
  function smallDisk(options = ''): string {
    const folder = newFolder();
    execFileSync('mount', ['-t', 'tmpfs', '-o', `size=${SIZE_MB}m${options}`, 'tmpfs', folder]);
    cleanups.push(() => execFileSync('umount', [folder]));
    return folder;
  }

  /** Takes room until only so many bytes are left. */
  function fill(folder: string, leaveBytes: number): string {
    const { bavail, bsize } = statfsSync(folder);
    const ballast = join(folder, 'ballast');
    writeFileSync(ballast, Buffer.alloc(bavail * bsize - leaveBytes));
    return ballast;
  }

  const mountable = process.platform === 'linux' && process.getuid?.() === 0;

  test('POST /record is refused at once, in one line; with room made it records', async (context) => {
    if (!mountable) context.skip('only root on Linux can mount a file system; the disks below are stand-ins');
    const disk = smallDisk();
    const sessions = join(disk, 'sessions');
    const url = await serve(sessions);
    for (const leaveBytes of [0, 4096, LEAST_FREE_BYTES - 65_536]) {
      const ballast = fill(disk, leaveBytes);
      const { status, body } = await ask('POST', `${url}/record?name=a.mcap`);
      expect(status).toBe(507);
      expect(body.code).toBe('diskFull');
      expect(body.message).toMatch(
        /^\S+a\.mcap: .*(8 MB|disk is full).*\. Make room, or record to another disk\.$/,
      );
      expect(body.message).toContain(join(sessions, 'a.mcap'));
      expect(existsSync(join(sessions, 'a.mcap'))).toBe(false);
      expect((await ask('GET', `${url}/sessions`)).body.recording).toBeUndefined();
      rmSync(ballast);
    }
    // The command that keeps a service's session in a file of its own asks the same of its disk.
    const ballast = fill(disk, 4096);
    const own = join(disk, 'own.mcap');
    const command = ['dist/main.js', 'record', own, '--url', url, '--seconds', '1'];
    const { status, stderr } = await runCommand(command);
    expect(status).toBe(6);
    expect(stderr).toMatch(
      /^tautline: \S+own\.mcap: a recording needs 8 MB to begin, .* to another disk\.\n$/,
    );
    expect(existsSync(own)).toBe(false);
    rmSync(ballast);

    expect(await ask('POST', `${url}/record?name=a.mcap`)).toMatchObject({
      status: 200,
      body: { running: true },
    });
    // From here on it is as full as can be: the recording ends by itself, as it always has.
    fill(disk, 0);
    for (;;) {
      const { recording } = (await ask('GET', `${url}/sessions`)).body as {
        recording: { running: boolean; failure?: string };
      };
      if (!recording.running) {
        expect(recording.failure).toContain('the disk is full; what was recorded until now is in the file.');
        break;
      }
      await new Promise((resolve) => setTimeout(resolve, 50));
    }
  });

  test('a disk with room but no place for another file is full, too', async (context) => {
    if (!mountable) context.skip('only root on Linux can mount a file system; the disks below are stand-ins');
    const disk = smallDisk(',nr_inodes=2');
    mkdirSync(join(disk, 'sessions'));
    const url = await serve(join(disk, 'sessions'));
    const { status, body } = await ask('POST', `${url}/record?name=a.mcap`);
    expect(status).toBe(507);
    expect(body.message).toContain('a.mcap: the disk is full; nothing is recorded.');
  });
});

/** A disk whose writes or syncs fail with this code, as a quota's or a network's do though there is room. */
const failing = (what: 'write' | 'datasync', code: string) => async (path: string, flags: string) => {
  const file = await open(path, flags);
  const fail = () => Promise.reject(Object.assign(new Error(code), { code }));
  return {
    write: (bytes: Uint8Array, at: number, length: number) => file.write(bytes, at, length),
    datasync: () => file.datasync(),
    close: () => file.close(),
    [what]: fail,
  } as unknown as Awaited<ReturnType<typeof open>>;
};

test.each([
  ['write', 'ENOSPC'],
  ['write', 'EDQUOT'],
  ['datasync', 'ENOSPC'],
  ['datasync', 'EDQUOT'],
] as const)(
  'a %s that fails at the beginning (%s): no recording, no file, nothing said twice',
  async (what, code) => {
    const folder = newFolder();
    const file = join(folder, 'a.mcap');
    const clock = createHandClock();
    const profile = simulatedProfile(['right'], 100);
    const gloves = simulatedGloves(profile, clock);
    cleanups.push(() => Promise.all(gloves.map((glove) => glove.close())));
    const failures: TautlineError[] = [];
    const starting = startRecorder({
      file,
      gloves,
      profile,
      logger: silent,
      version: '0',
      clock,
      failed: (error) => failures.push(error),
      open: (path, options) => openFileSink(path, { ...options, openFile: failing(what, code) }),
    });
    await expect(starting).rejects.toMatchObject({
      code: 'diskFull',
      line: `${file}: the disk is full; nothing is recorded. Make room, or record to another disk.`,
    });
    expect(readdirSync(folder)).toEqual([]);
    expect(failures).toEqual([]);
  },
);

test('what is free is judged by what a user may take; a disk that does not say is tried', async () => {
  const disk =
    (bavail: number, blocks = 1e6) =>
    async () => ({ bavail, blocks, bsize: 4096 });
  const needed = Math.ceil(LEAST_FREE_BYTES / 4096);
  await expect(requireDiskSpace('/x/a.mcap', disk(needed))).resolves.toBeUndefined();
  const refused = await requireDiskSpace('/x/a.mcap', disk(needed - 1)).catch((error: unknown) => error);
  expect(refused).toBeInstanceOf(TautlineError);
  expect((refused as TautlineError).line).toBe(
    '/x/a.mcap: a recording needs 8 MB to begin, and its disk has 7.9 MB free. Make room, or record to another disk.',
  );
  await expect(requireDiskSpace('/x/a.mcap', disk(0, 0))).resolves.toBeUndefined();
  await expect(requireDiskSpace('/x/a.mcap', () => Promise.reject(new Error('no')))).resolves.toBeUndefined();
});
