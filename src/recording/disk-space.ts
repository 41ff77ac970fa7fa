import { statfs } from 'node:fs/promises';
import { dirname } from 'node:path';
import { TautlineError } from '../errors.js';

/** Five minutes of one hand with 12 channels at 250 samples a second. */
export const LEAST_FREE_BYTES = 8_000_000;

/**
 * Better to refuse a recording than to end it as soon as it has begun. Quotas, and disks that do not report their free
 * space, show only when the file is written.
 * @param diskOf how to ask a disk; tests pass a full one
 * @throws TautlineError diskFull
 */
export async function requireDiskSpace(
  file: string,
  diskOf: (folder: string) => Promise<{ blocks: number; bavail: number; bsize: number }> = statfs,
): Promise<void> {
  const disk = await diskOf(dirname(file)).catch(() => undefined);
  if (!disk || disk.blocks === 0) return;
  const freeBytes = disk.bavail * disk.bsize;
  if (freeBytes >= LEAST_FREE_BYTES) return;
  const inMb = (bytes: number) => `${Math.floor(bytes / 1e5) / 10} MB`;
  throw new TautlineError(
    'diskFull',
    `${file}: a recording needs ${inMb(LEAST_FREE_BYTES)} to begin, and its disk has ${inMb(freeBytes)} free.`,
    'Make room, or record to another disk.',
  );
}
