import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { TautlineError } from '../../src/errors.js';
import { describeSession } from '../../src/recording/info.js';
import { createOfflineHands } from '../../src/recording/offline.js';
import { openSession, type Session } from '../../src/recording/session.js';
import { prepareHands } from '../../src/recording/sessions.js';
import { recordSimulated } from '../simulated-session.js';
import { createRandom } from './random.js';
import { createWatch, type FuzzReport, type Watch } from './watch.js';

/** Mutated session files: opened, described and computed. A refusal is a TautlineError. @param count files */
export async function fuzzFiles(count: number, seed: number): Promise<FuzzReport> {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-fuzz-'));
  try {
    const random = createRandom(seed).below;
    const file = join(folder, 'mutated.mcap');
    const source = join(folder, 'sound.mcap');
    await recordSimulated({ file: source, seconds: 0.4, rateHz: 40 });
    const sound = readFileSync(source);
    const watch = createWatch();
    for (let n = 0; n < count; n++) {
      writeFileSync(file, mutate(sound, random));
      await read(file, watch, n);
      if (n === Math.floor(count / 10)) watch.settled();
    }
    return watch.report('files', seed, count);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** As the service does it: the hands of a session are worked out between other work. */
async function read(file: string, watch: Watch, n: number): Promise<void> {
  let session: Session | undefined;
  watch.run(n, () => {
    session = unlessRefused(watch, () => openSession(file));
  });
  if (!session) return;
  const opened = session;
  await prepareHands(opened);
  watch.run(n, () =>
    unlessRefused(watch, () => {
      const { complete, damage } = describeSession(opened);
      opened.visit(createOfflineHands(opened, () => {}).visitor);
      watch.count(complete && damage.chunks + damage.bytes === 0 ? 'whole' : 'part');
    }),
  );
  opened.close();
}

function unlessRefused<Result>(watch: Watch, act: () => Result): Result | undefined {
  try {
    return act();
  } catch (error) {
    if (!(error instanceof TautlineError)) throw error;
    watch.count('refused');
    return undefined;
  }
}

/** One to three changes: a bit, a byte, a cut, a splice, a run of one value, or a length field made huge. */
export function mutate(sound: Buffer, random: (below: number) => number): Buffer {
  let bytes = Buffer.from(sound);
  for (let change = 1 + random(3); change > 0; change--) {
    const at = random(bytes.length);
    const kind = random(6);
    if (kind === 0) bytes[at] ^= 1 << random(8);
    else if (kind === 1) bytes[at] = random(256);
    else if (kind === 2) bytes = bytes.subarray(0, Math.max(1, at));
    else if (kind === 3) bytes = Buffer.concat([bytes.subarray(0, at), bytes.subarray(random(bytes.length))]);
    else if (kind === 4) bytes.fill(random(2) * 255, at, Math.min(bytes.length, at + random(16)));
    else if (at + 8 <= bytes.length) bytes.writeBigUInt64LE(BigInt(2 ** random(53)), at);
  }
  return bytes;
}
