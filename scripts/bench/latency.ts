import { type ChildProcess, spawn } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface, type Interface } from 'node:readline';
import { WebSocket } from 'ws';
import { createFrameCodec } from '../../src/link/frames.js';
import { type Figures, median, percentile } from './figure.js';

/**
 * Time from the glove's sample to the message at the app, over a pseudo-terminal, beside a pass-through of the
 * same bytes. Both gloves, both services and the app run at once and are measured side by side, so that whatever
 * else the machine does meets both.
 */
const RATE_HZ = 250;
const SECONDS = 12;
const WARM_UP_SECONDS = 3;
const CHANNELS = ['thumb', 'index', 'middle', 'ring', 'little'].flatMap((f) => [`${f}.curl`, `${f}.splay`]);

const processes: ChildProcess[] = [];

/** Starts a program and resolves with the first line of its output that matches, and all lines from then on. */
function start(
  command: string,
  args: string[],
  ready: RegExp,
): Promise<{ match: RegExpMatchArray; lines: Interface; child: ChildProcess }> {
  const child = spawn(command, args, { stdio: ['pipe', 'pipe', 'inherit'] });
  processes.push(child);
  const lines = createInterface({ input: child.stdout! });
  return new Promise((resolve, reject) => {
    child.once('exit', (code) => reject(new Error(`${command} ended with ${code} before it was ready`)));
    const onLine = (line: string): void => {
      const match = line.match(ready);
      if (!match) return;
      lines.off('line', onLine);
      resolve({ match, lines, child });
    };
    lines.on('line', onLine);
  });
}

interface HostGlove {
  pty: string;
  /** CLOCK_MONOTONIC when the device clock was 0, µs. */
  clockUs: number;
}

async function startGlove(): Promise<HostGlove> {
  const { match } = await start(
    'src/firmware/build/tautline-host-glove',
    ['--hand', 'right', '--rate', String(RATE_HZ), '--channels', CHANNELS.join(',')],
    /^\{"pty".*\}$/,
  );
  const said = JSON.parse(match[0]) as { pty: string; clockUs: number };
  return { pty: said.pty, clockUs: said.clockUs };
}

/** process.hrtime is CLOCK_MONOTONIC, which the host glove uses too. */
const monotonicUs = (): number => Number(process.hrtime.bigint()) / 1000;

/** Collects device-sample -> message delays from the pass-through. */
async function throughPass(glove: HostGlove, delays: number[]): Promise<void> {
  const { match } = await start(
    process.execPath,
    ['build/scripts/bench/pass-through.js', glove.pty],
    /^(\d+)$/,
  );
  const socket = new WebSocket(`ws://127.0.0.1:${match[1]}`, { perMessageDeflate: false });
  let arrival = 0;
  const codec = createFrameCodec({
    hello() {},
    samples: (samples) => void delays.push(arrival - glove.clockUs - samples.deviceTimeUs),
    state() {},
    pong() {},
    note() {},
  });
  socket.on('message', (data: Buffer) => {
    arrival = monotonicUs();
    codec.push(data);
  });
  await new Promise((resolve) => socket.once('open', resolve));
}

/** The same through the service. Its health reports say how its times relate to the glove's clock. */
async function throughService(
  glove: HostGlove,
  folder: string,
  subprotocol: string,
  delays: number[],
): Promise<void> {
  const profile = join(folder, `${subprotocol}.yaml`);
  const channels = CHANNELS.map((role) => `      - { role: ${role}, open: 400, closed: 3600 }`).join('\n');
  writeFileSync(
    profile,
    `profile: 1\ngloves:\n  - name: bench\n    hand: right\n    link: { kind: serial, path: ${glove.pty} }\n    channels:\n${channels}\nstream: { port: 0 }\n`,
  );
  const { match } = await start(
    process.execPath,
    ['dist/main.js', 'run', '--profile', profile],
    /(ws:\/\/\S+)/,
  );
  const socket = new WebSocket(match[1], subprotocol, { perMessageDeflate: false });
  await new Promise((resolve) => socket.once('open', resolve));
  let offsetUs: number | undefined;
  socket.on('message', (data: Buffer, isBinary) => {
    const arrival = monotonicUs();
    let timeUs: number;
    if (isBinary) timeUs = data.readDoubleLE(8);
    else {
      const start = data.toString('latin1', 0, 120);
      if (start.includes('"health"')) {
        const health = JSON.parse(data.toString()) as { clock?: { offsetUs: number } };
        offsetUs = health.clock?.offsetUs;
      }
      const at = start.indexOf('"timeUs":');
      if (!start.includes('"joints"') || at < 0) return;
      timeUs = Number.parseFloat(start.slice(at + 9));
    }
    if (offsetUs !== undefined) delays.push(arrival - glove.clockUs - (timeUs - offsetUs));
  });
  socket.send(JSON.stringify({ type: 'subscribe', streams: ['joints', 'health'], hands: ['right'] }));
}

export async function measureLatency(): Promise<Figures> {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-bench-'));
  const figures: Figures = {};
  try {
    for (const [name, subprotocol] of [
      ['Json', 'tautline.json.v1'],
      ['Binary', 'tautline.binary.v1'],
    ]) {
      const pass: number[] = [];
      const service: number[] = [];
      await throughPass(await startGlove(), pass);
      await throughService(await startGlove(), folder, subprotocol, service);
      await new Promise((resolve) => setTimeout(resolve, WARM_UP_SECONDS * 1000));
      pass.length = 0;
      service.length = 0;
      await new Promise((resolve) => setTimeout(resolve, SECONDS * 1000));
      for (const child of processes.splice(0)) child.kill('SIGKILL');
      const reference = (p: number): string => `pass-through p${p} ${Math.round(percentile(pass, p))} us`;
      for (const p of [50, 99]) {
        figures[`latency${name}P${p}`] = {
          value: percentile(service, p) / percentile(pass, p),
          unit: `x (${Math.round(percentile(service, p))} us)`,
          bar: 1.15,
          better: 'lower',
          reference: `${reference(p)}; ${service.length} and ${pass.length} messages, median ${Math.round(median(service))} us`,
        };
      }
    }
  } finally {
    for (const child of processes.splice(0)) child.kill('SIGKILL');
    rmSync(folder, { recursive: true, force: true });
  }
  return figures;
}
