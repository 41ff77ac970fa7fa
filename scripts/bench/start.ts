import type { ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { readdirSync, readFileSync } from 'node:fs';
import { connect } from 'node:net';
import { WebSocket } from 'ws';
import { Bed } from '../load/bed.js';
import { type Figures, median } from './figure.js';

const STARTS = 9;
const RATE_HZ = 250;
/** The least that a program on Node does that listens. */
const BARE = `require('node:net').createServer().listen(0, '127.0.0.1', function () {
  console.log('ws://127.0.0.1:' + this.address().port + '/');
});`;

interface Listening {
  url: string;
  child: ChildProcess;
  /** From the start of the process until a connection to it succeeds. */
  ms: number;
  /** That all its threads were given of the processors until then. */
  cpuMs: number;
}

/**
 * Starts of the service with a glove at its port: until apps can connect, and from the port's opening, as its log says,
 * to the first joints.
 */
export async function measureStart(): Promise<Figures> {
  const bed = new Bed();
  const listening: Listening[] = [];
  const bare: Listening[] = [];
  const fromPort: number[] = [];
  const fromStart: number[] = [];
  const listens = async (args: string[], log?: (line: string) => void): Promise<Listening> => {
    const startedMs = performance.now();
    const { match, child } = await bed.start(process.execPath, args, /(ws:\/\/\S+)/, log);
    const cpuMs = cpuMsOf(child.pid!);
    const { port } = new URL(match[1]);
    const socket = connect(Number(port), '127.0.0.1');
    await once(socket, 'connect');
    socket.destroy();
    return { url: match[1], child, ms: performance.now() - startedMs, cpuMs };
  };
  try {
    for (let n = 0; n < STARTS; n++) {
      const least = await listens(['--eval', BARE]);
      bare.push(least);
      least.child.kill();
      const glove = await bed.glove('right', RATE_HZ);
      const startedMs = Date.now();
      const profile = bed.profile([glove]);
      let openedMs = Number.NaN;
      const service = await listens(
        ['dist/main.js', 'run', '--profile', profile, '--log-level', 'info'],
        (line) => {
          const { msg, time } = JSON.parse(line) as { msg: string; time: string };
          if (msg === 'link is live') openedMs = Date.parse(time);
        },
      );
      listening.push(service);
      const socket = new WebSocket(service.url, 'tautline.json.v1');
      await once(socket, 'open');
      const first = validJoints(socket);
      socket.send(JSON.stringify({ type: 'subscribe', streams: ['joints'] }));
      const joinedMs = await first;
      fromPort.push(joinedMs - openedMs);
      fromStart.push(joinedMs - startedMs);
      socket.terminate();
      service.child.kill('SIGINT');
      await once(service.child, 'exit');
    }
  } finally {
    await bed.close();
  }
  const ms = (starts: readonly Listening[]) => Math.round(median(starts.map((start) => start.ms)));
  const cpuMs = (starts: readonly Listening[]) => Math.round(median(starts.map((start) => start.cpuMs)));
  return {
    startToListeningMs: {
      value: ms(listening),
      unit: `ms (${cpuMs(listening)} ms of CPU)`,
      bar: 300,
      better: 'lower',
      reference: `from the process's start until an app can connect, median of ${STARTS} starts; a bare listener on Node ${ms(bare)} ms (${cpuMs(bare)} ms of CPU)`,
    },
    startToJointsMs: {
      value: median(fromPort),
      unit: 'ms',
      bar: 500,
      better: 'lower',
      reference: `from the port's opening to valid joints at an app, median of ${STARTS} starts; from the start of the program ${Math.round(median(fromStart))} ms`,
    },
  };
}

/** proc(5), /proc/PID/schedstat: the first number is the time on a processor, ns. */
function cpuMsOf(pid: number): number {
  const tasks = `/proc/${pid}/task`;
  const ns = readdirSync(tasks).map((task) =>
    Number(readFileSync(`${tasks}/${task}/schedstat`, 'latin1').split(' ')[0]),
  );
  return ns.reduce((sum, each) => sum + each, 0) / 1e6;
}

/** Resolves with the time, ms, of the first pose of a hand that is there. */
function validJoints(socket: WebSocket): Promise<number> {
  return new Promise((resolve) => {
    socket.on('message', (data: Buffer) => {
      const message = JSON.parse(data.toString()) as { type: string; valid?: boolean };
      if (message.type === 'joints' && message.valid) resolve(Date.now());
    });
  });
}
