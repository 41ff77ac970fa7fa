import { once } from 'node:events';
import { WebSocket } from 'ws';
import { Bed } from '../load/bed.js';
import { type Figures, median } from './figure.js';

const STARTS = 5;
const RATE_HZ = 250;

/** Starts of the service with a glove at its port: from the port's opening, as its log says, to the first joints. */
export async function measureStart(): Promise<Figures> {
  const bed = new Bed();
  const fromPort: number[] = [];
  const fromStart: number[] = [];
  try {
    for (let n = 0; n < STARTS; n++) {
      const glove = await bed.glove('right', RATE_HZ);
      const startedMs = Date.now();
      const profile = bed.profile([glove]);
      let openedMs = Number.NaN;
      const { match, child } = await bed.start(
        process.execPath,
        ['dist/main.js', 'run', '--profile', profile, '--log-level', 'info'],
        /(ws:\/\/\S+)/,
        (line) => {
          const { msg, time } = JSON.parse(line) as { msg: string; time: string };
          if (msg === 'link is live') openedMs = Date.parse(time);
        },
      );
      const socket = new WebSocket(match[1], 'tautline.json.v1');
      await once(socket, 'open');
      const first = validJoints(socket);
      socket.send(JSON.stringify({ type: 'subscribe', streams: ['joints'] }));
      const joinedMs = await first;
      fromPort.push(joinedMs - openedMs);
      fromStart.push(joinedMs - startedMs);
      socket.terminate();
      child.kill('SIGINT');
      await once(child, 'exit');
    }
  } finally {
    await bed.close();
  }
  return {
    startToJointsMs: {
      value: median(fromPort),
      unit: 'ms',
      bar: 500,
      better: 'lower',
      reference: `from the port's opening to valid joints at an app, median of ${STARTS} starts; from the start of the program ${Math.round(median(fromStart))} ms`,
    },
  };
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
