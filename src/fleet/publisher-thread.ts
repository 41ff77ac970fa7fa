import { parentPort, workerData } from 'node:worker_threads';
import { type NtpState, readNtpState } from './ntp.js';
import type { FromPublisher, PublisherSetting, ToPublisher } from './publisher-messages.js';
import { createSender } from './sender.js';
import { topicOf } from './topics.js';

/**
 * The thread that publishes for a service: the library of the broker, TLS and what waits are its alone. A broker that
 * is away, slow or malicious costs this thread; the service only counts what this thread has not taken yet.
 */

const NTP_EVERY_MS = 600_000;
const COUNTS_EVERY_MS = 1000;

const { station, broker, clientId, limits, will, clock, taken, firstRetryMs, maxRetryMs } =
  workerData as PublisherSetting;
const port = parentPort!;
const say = (message: FromPublisher): void => port.postMessage(message);
const takenBytes = new Int32Array(taken);
let ntp: NtpState = 'unknown';
const askNtp = async (): Promise<void> => {
  ntp = await readNtpState();
};
void askNtp();
const asking = setInterval(askNtp, NTP_EVERY_MS);

const sender = createSender({
  station,
  broker: {
    ...broker,
    clientId,
    will: { topic: topicOf(station, 'status'), payload: Buffer.from(will) },
    ...(firstRetryMs === undefined ? {} : { firstRetryMs }),
    ...(maxRetryMs === undefined ? {} : { maxRetryMs }),
  },
  limits,
  nowUs: () => clock.serviceUs + Number(process.hrtime.bigint() - clock.systemNs) / 1000,
  ntp: () => ntp,
  opened: () => say({ type: 'open' }),
  closed: ({ code, line }) => say({ type: 'closed', code, line }),
});
const sayCounts = (): void => say({ type: 'counts', ...sender.counts() });
const counting = setInterval(sayCounts, COUNTS_EVERY_MS);

port.on('message', async (message: ToPublisher) => {
  if (message.type === 'publish') {
    Atomics.add(takenBytes, 0, message.bytes.length);
    sender.publish(message.kind, message.hand, message.bytes);
    return;
  }
  clearInterval(counting);
  clearInterval(asking);
  await sender.end(message.status);
  sayCounts();
  port.close();
});
