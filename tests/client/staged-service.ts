import { once } from 'node:events';
import type { AddressInfo } from 'node:net';
import { expect } from 'vitest';
import { type WebSocket, WebSocketServer } from 'ws';
import { JOINT_COUNT, POSE_STRIDE, VELOCITY_STRIDE } from '../../src/hand/joints.js';
import { MAX_POSE_FRAME } from '../../src/stream/encode.js';
import { encodeJointsBinary } from '../../src/stream/encode-binary.js';

export interface Asked {
  type: string;
  layer?: string;
  space?: string;
  effort?: number;
  ttlMs?: number;
  shape?: object;
  position?: number[];
  orientation?: number[];
  linearVelocity?: number[];
  angularVelocity?: number[];
}

/**
 * Stands in for a service whose hand does what the test says: poses come a hundred times a second, every request is taken,
 * and the requests of the newest app are kept.
 */
export async function stagedService() {
  const server = new WebSocketServer({
    port: 0,
    host: '127.0.0.1',
    handleProtocols: (offered) => [...offered][0],
  });
  await once(server, 'listening');
  let app: WebSocket | undefined;
  let seq = 0;
  const asked: Asked[] = [];
  const hand = { palm: [0, 0, -0.06, 0, 0, 0, 1], speed: [0, 0, 0, 0, 0, 0] };
  const send = (message: object) => app?.send(JSON.stringify(message));
  server.on('connection', (socket) => {
    app = socket;
    asked.length = 0;
    const hands = [{ hand: 'right', name: 'staged', armed: false, howToArm: 'ask the test' }];
    send({ type: 'welcome', server: { name: 'tautline', version: '0' }, app: 'app7', hands });
    socket.on('message', (data) => {
      const request = JSON.parse(data.toString());
      asked.push(request);
      send({ type: 'ack', id: request.id, for: request.type, timeUs: 0 });
    });
  });
  const target = Buffer.alloc(MAX_POSE_FRAME);
  const beat = setInterval(() => {
    const poses = Float64Array.from(
      { length: JOINT_COUNT * POSE_STRIDE },
      (_, i) => [...hand.palm, 0.01][i % 8],
    );
    const velocities = Float64Array.from(
      { length: JOINT_COUNT * VELOCITY_STRIDE },
      (_, i) => hand.speed[i % 6],
    );
    const size = encodeJointsBinary(target, 0, {
      hand: 'right',
      seq: ++seq,
      timeUs: seq * 10_000,
      aheadMs: 0,
      valid: true,
      reason: undefined,
      space: 'wrist',
      recorded: false,
      fingerStates: Uint8Array.of(2, 2, 2, 2, 2),
      poses,
      velocities,
      pressures: undefined,
    });
    app?.send(Buffer.from(target.subarray(0, size)), { binary: true });
  }, 10);
  return {
    url: `ws://127.0.0.1:${(server.address() as AddressInfo).port}/stream`,
    hand,
    asked,
    send,
    /** Waits for a request that fits, from now on. */
    async asks(fits: (request: Asked) => boolean, what: string): Promise<Asked> {
      const from = asked.length;
      const found = () => asked.slice(from).find(fits);
      await expect.poll(() => found() !== undefined, { timeout: 20_000, message: what }).toBe(true);
      return found()!;
    },
    touches(touches: object[]) {
      const names = ['pinch_ext', 'aim_activate_ext', 'grasp_ext', 'point', 'fist', 'flat'];
      const states = Object.fromEntries(names.map((name) => [name, { active: false }]));
      send({ type: 'gestures', hand: 'right', timeUs: seq * 10_000, valid: true, states, touches });
    },
    arm: (armed: boolean) =>
      send({ type: 'resistance', hand: 'right', timeUs: seq * 10_000, armed, fingers: {} }),
    close() {
      clearInterval(beat);
      for (const socket of server.clients) socket.terminate();
      server.close();
    },
  };
}
