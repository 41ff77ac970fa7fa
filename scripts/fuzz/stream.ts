import { Duplex } from 'node:stream';
import { pino } from 'pino';
import { AppConnection } from '../../src/stream/connection.js';
import { Hub } from '../../src/stream/hub.js';
import { DEFAULT_LIMITS } from '../../src/stream/limits.js';
import { createFuzzedGlove } from './fuzzed-glove.js';
import { framed, hostile } from './hostile-messages.js';
import { createRandom } from './random.js';
import { createWatch, type FuzzReport } from './watch.js';

const KEEP_FOR = 500;
/** So long after a disarm the glove can be armed again. */
const ARM_AGAIN_MS = 260;

/**
 * Hostile messages of apps, through the frames of the wire, the connection, its checks, its requests and a real glove that
 * is armed and moves. The socket is replaced by one that takes everything at once; rates are not limited, so that every
 * message is looked at, and each is acted on before the next.
 * @param count messages
 */
export async function fuzzStream(count: number, seed: number): Promise<FuzzReport> {
  const random = createRandom(seed).below;
  const watch = createWatch();
  const fuzzed = createFuzzedGlove();
  fuzzed.sound(300);
  const logger = pino({ level: 'silent' });
  // A fault inside the service is caught by the connection and answered with `internal`: here it is a crash.
  let fault: unknown;
  const faults = Object.assign(Object.create(logger), {
    error: (entry: { err?: unknown }) => {
      fault = entry.err ?? new Error('an error was logged');
    },
  }) as typeof logger;
  const limits = { ...DEFAULT_LIMITS, messagesPerS: 1e12, probeEveryMs: 2 ** 30, watchEveryMs: 2 ** 30 };
  const hub = new Hub([fuzzed.glove], 'fuzz', limits, logger);
  let connection: AppConnection | undefined;
  for (let n = 0; n < count; n++) {
    if (!connection?.wire.open || n % KEEP_FOR === 0) {
      connection?.end();
      connection?.wire.terminate();
      const socket = new Duplex({ read() {}, write: (_chunk, _encoding, done) => done() });
      const encoding = random(2) ? 'binary' : 'json';
      connection = new AppConnection({ app: `app${n}`, encoding, socket, host: hub, logger: faults });
      hub.begin(connection);
    }
    // The wearer keeps arming: else every request would be refused at the first check.
    if (!fuzzed.glove.armed) {
      fuzzed.sound(ARM_AGAIN_MS);
      fuzzed.glove.arm('fuzz', 'wearer');
    }
    if (fuzzed.glove.armed) watch.count('armed');
    const { wire } = connection;
    const bytes = framed(...hostile(random), random);
    watch.run(n, () => {
      wire.take(bytes);
      while (connection?.look());
      while (connection?.act());
      connection?.rest();
      watch.count(wire.open ? 'answered' : 'closed');
    });
    if (fault !== undefined) watch.crash(n, fault);
    fault = undefined;
    if (n % 16 === 0) {
      watch.run(n, () => fuzzed.sound(8));
    }
    if (n % 4096 === 0) await new Promise(setImmediate);
    if (n === Math.floor(count / 10)) watch.settled();
  }
  connection?.end();
  hub.close();
  await fuzzed.glove.close();
  return watch.report('stream', seed, count);
}
