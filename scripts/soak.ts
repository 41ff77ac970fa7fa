/**
 * Leaves the service running as a day would: two gloves of our firmware at 500 Hz behind pseudo-terminals, eight
 * apps that come and go (one reads slowly, one holds fingers and is killed at times), and faults at random: damaged
 * bytes, cut cables, loose sensors, disarms. Watches what grows, and that every finger is freed every time.
 *
 *   npx tsx scripts/soak.ts [--hours 1] [--seed 1]       24 h: --hours 24
 *
 * Ends with 1 when memory, files, sockets or timers grew after the first five minutes, or a release was missed.
 */
import { readdirSync, readFileSync } from 'node:fs';
import { setTimeout as wait } from 'node:timers/promises';
import { parseArgs } from 'node:util';
import { WebSocket } from 'ws';
import { FINGERS, HAND_SIDES, type HandSide } from '../src/hand/joints.js';
import { startServiceProcess } from '../tests/end-to-end/service.js';
import { type HostGlove, startHostGlove } from '../tests/firmware/host-glove.js';
import { createRandom } from './fuzz/random.js';

const { values } = parseArgs({
  options: { hours: { type: 'string', default: '1' }, seed: { type: 'string', default: '1' } },
});
const endMs = Date.now() + Number(values.hours) * 3_600_000;
const SETTLE_MS = Math.min(300_000, Number(values.hours) * 600_000);
/** The service lets go within 300 ms by itself; a busy machine may be slow to tell us. */
const FREE_WITHIN_MS = 1500;
const APPS = 8;

const { unit: random, pick } = createRandom(Number(values.seed));

const channels = FINGERS.map((finger) => `${finger}.curl`).join(',');
const gloves = {} as Record<HandSide, HostGlove>;
for (const hand of HAND_SIDES) {
  gloves[hand] = await startHostGlove([
    '--hand',
    hand,
    '--rate',
    '500',
    '--channels',
    channels,
    '--actuators',
    FINGERS.join(','),
  ]);
  for (const [n, finger] of FINGERS.entries()) {
    await gloves[hand].command(`sweep ${finger}.curl 0.05 0.9 ${1500 + 170 * n}`);
  }
}
const service = await startServiceProcess(
  [
    'profile: 1',
    'gloves:',
    ...HAND_SIDES.flatMap((hand) => [
      `  - name: ${hand}`,
      `    hand: ${hand}`,
      `    link: { kind: serial, path: ${gloves[hand].pty} }`,
      `    channels: [${FINGERS.map((finger) => `{ role: ${finger}.curl, open: 491, closed: 3604 }`).join(', ')}]`,
      `    actuators: [${FINGERS.map((finger) => `{ role: ${finger}, kind: stringStop }`).join(', ')}]`,
    ]),
  ].join('\n'),
  ['--log-level', 'silent'],
);
const pid = service.process.pid;
const url = `http://127.0.0.1:${service.port}`;
const counts: Record<string, number> = {};
const count = (what: string): void => {
  counts[what] = (counts[what] ?? 0) + 1;
};
const faults: string[] = [];

// ---- apps --------------------------------------------------------------------------------------------------

const apps = new Set<WebSocket>();
function newApp(): void {
  const encoding = pick(['tautline.json.v1', 'tautline.binary.v1']);
  const app = new WebSocket(`ws://127.0.0.1:${service.port}/stream`, encoding);
  apps.add(app);
  app.on('error', () => {});
  app.on('close', () => apps.delete(app));
  app.on('open', () => {
    app.send(JSON.stringify({ type: 'subscribe', app: 'soak', rateHz: pick([30, 60, 90, 120, 500]) }));
    // Some do not read for a while.
    if (random() < 0.1) {
      app.pause();
      setTimeout(() => app.resume(), 4000);
    }
  });
}
let holder: WebSocket | undefined;
const HOLD_MS = 200;
/** Renews a hold of every finger of both hands. */
function renewHold(): void {
  if (!holder) {
    holder = new WebSocket(`ws://127.0.0.1:${service.port}/stream`);
    const own = holder;
    own.on('error', () => {});
    own.on('close', () => {
      if (holder === own) holder = undefined;
    });
  }
  if (holder.readyState !== WebSocket.OPEN) return;
  const fingers = Object.fromEntries(FINGERS.map((finger) => [finger, { stopAt: 0.5, effort: 0.3 }]));
  for (const hand of HAND_SIDES) holder.send(JSON.stringify({ type: 'resist', hand, fingers, ttlMs: 600 }));
}
let hold = setInterval(renewHold, HOLD_MS);

// ---- fingers -----------------------------------------------------------------------------------------------

const allFree = async (hand: HandSide): Promise<boolean> =>
  (await gloves[hand].ask<{ free: boolean }[]>('servos')).every(({ free }) => free);

/** After whatever should free a hand. */
async function mustBeFree(hand: HandSide, after: string): Promise<void> {
  const untilMs = Date.now() + FREE_WITHIN_MS;
  while (!(await allFree(hand))) {
    if (Date.now() > untilMs) {
      faults.push(`${hand} hand not free ${FREE_WITHIN_MS} ms after ${after}`);
      return;
    }
    await wait(10);
  }
  count(`free after ${after}`);
}
const post = (path: string) => fetch(`${url}${path}`, { method: 'POST' }).then((answer) => answer.text());

const troubles: Record<string, (hand: HandSide) => Promise<void>> = {
  async disarm(hand) {
    await post(`/disarm?hand=${hand}`);
    await mustBeFree(hand, 'disarm');
  },
  async kill(hand) {
    holder?.terminate();
    holder = undefined;
    // The next one begins to hold in 0.2 s: this one's requests must be gone before.
    clearHold = Date.now() + 1200;
    await mustBeFree(hand, 'the death of the app');
  },
  async cut(hand) {
    await gloves[hand].command('cut');
    await mustBeFree(hand, 'a cut cable');
    await wait(500 + 2000 * random());
    await gloves[hand].command('restore');
  },
  async corrupt(hand) {
    await gloves[hand].command(`corrupt ${Math.ceil(random() * 200)}`);
    count('damaged bytes');
  },
  async loose(hand) {
    const finger = pick(FINGERS);
    await gloves[hand].command(`fault intermittent ${finger}.curl`);
    await wait(2000);
    await gloves[hand].command(`fault none ${finger}.curl`);
    count('loose sensor');
  },
  async come() {
    for (let n = 0; n < 3; n++) pick([...apps])?.[pick(['terminate', 'close'] as const)]();
    count('apps left');
  },
};
let clearHold = 0;

// ---- what grows --------------------------------------------------------------------------------------------

interface Weight {
  residentMB: number;
  heapMB: number;
  files: number;
  resources: number;
}
async function weigh(): Promise<Weight> {
  const metrics = await (await fetch(`${url}/metrics`)).text();
  const sum = (name: string): number =>
    [...metrics.matchAll(new RegExp(`^tautline_${name}(?:\\{[^}]*\\})? (\\S+)$`, 'gm'))].reduce(
      (all, [, value]) => all + Number(value),
      0,
    );
  const files = process.platform === 'linux' ? readdirSync(`/proc/${pid}/fd`).length : 0;
  const resident =
    process.platform === 'linux'
      ? Number(/VmRSS:\s+(\d+)/.exec(readFileSync(`/proc/${pid}/status`, 'utf8'))?.[1]) / 1000
      : sum('resident_memory_bytes') / 1e6;
  return {
    residentMB: resident,
    heapMB: sum('heap_used_bytes') / 1e6,
    files,
    resources: sum('active_resources'),
  };
}

const leastOf = (weights: readonly Weight[]): Weight => ({
  residentMB: Math.min(...weights.map(({ residentMB }) => residentMB)),
  heapMB: Math.min(...weights.map(({ heapMB }) => heapMB)),
  files: Math.min(...weights.map(({ files }) => files)),
  resources: Math.min(...weights.map(({ resources }) => resources)),
});

/** What is there with every app gone and both gloves plugged in: then files and resources can be counted exactly. */
async function weighAtRest(): Promise<Weight> {
  clearInterval(hold);
  holder?.terminate();
  for (const app of apps) app.terminate();
  for (;;) {
    // Longer than this program keeps an idle connection.
    await wait(6000);
    const { apps: left, gloves: links } = (await (await fetch(`${url}/health`)).json()) as Rest;
    if (left.length === 0 && links.every(({ link }) => link.state === 'live')) break;
  }
  const weights: Weight[] = [];
  for (let n = 0; n < 6; n++) {
    await wait(6000);
    weights.push(await weigh());
  }
  hold = setInterval(renewHold, HOLD_MS);
  return leastOf(weights);
}
interface Rest {
  apps: unknown[];
  gloves: { link: { state: string } }[];
}
const text = ({ residentMB, heapMB, files, resources }: Weight): string =>
  `${residentMB.toFixed(1)} MB resident, ${heapMB.toFixed(1)} MB heap, ${files} files, ${resources} active resources`;

const startedMs = Date.now();
/** At rest, when it had settled. */
let settled: Weight | undefined;
/** Since then, a few a minute: memory, of which the next collection takes what is garbage. */
const weights: Weight[] = [];
let weighedMs = 0;
let saidMs = 0;
while (Date.now() < endMs) {
  while (apps.size < APPS) newApp();
  if (Date.now() > clearHold) for (const hand of HAND_SIDES) await service.arm(hand);
  await wait(300 + 1500 * random());
  const trouble = pick(Object.keys(troubles));
  await troubles[trouble](pick(HAND_SIDES));
  if (service.process.exitCode !== null) {
    faults.push(`the service ended with ${service.process.exitCode}`);
    break;
  }
  if (!settled && Date.now() - startedMs > SETTLE_MS) settled = await weighAtRest();
  if (settled && Date.now() - weighedMs > 10_000) {
    weighedMs = Date.now();
    weights.push(await weigh());
  }
  if (Date.now() - saidMs > 300_000) {
    saidMs = Date.now();
    console.log(
      `${((Date.now() - startedMs) / 60_000).toFixed(0)} min: ${text(await weigh())}; ${JSON.stringify(counts)}`,
    );
  }
}
if (!settled || weights.length < 6) faults.push('it was too short to tell whether anything grew');
else if (service.process.exitCode === null) {
  const end = await weighAtRest();
  const third = Math.floor(weights.length / 3);
  const early = leastOf(weights.slice(0, third));
  const late = leastOf(weights.slice(-third));
  console.log(`at rest after ${SETTLE_MS / 60_000} min: ${text(settled)}`);
  console.log(`at rest at the end: ${text(end)}`);
  console.log(`least of the first third: ${text(early)}`);
  console.log(`least of the last third: ${text(late)}`);
  if (late.residentMB - early.residentMB > 15)
    faults.push(`${(late.residentMB - early.residentMB).toFixed(1)} MB resident more`);
  if (late.heapMB - early.heapMB > 3) faults.push(`${(late.heapMB - early.heapMB).toFixed(1)} MB heap more`);
  if (end.files > settled.files) faults.push(`${end.files - settled.files} files more`);
  if (end.resources > settled.resources)
    faults.push(`${end.resources - settled.resources} active resources more`);
}
clearInterval(hold);
console.log(JSON.stringify(counts));
for (const fault of faults) console.log(`FAILED  ${fault}`);
if (faults.length === 0) console.log('Nothing grew, and every finger was freed every time.');
for (const app of apps) app.terminate();
holder?.terminate();
await service.stop();
for (const hand of HAND_SIDES) await gloves[hand].quit();
process.exit(faults.length === 0 ? 0 : 1);
