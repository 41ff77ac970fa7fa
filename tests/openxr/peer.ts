import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import type { IncomingMessage } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { type WebSocket, WebSocketServer } from 'ws';
import { DOF_COUNT } from '../../src/hand/dofs.js';
import { createPoses, createVelocities, forwardKinematics } from '../../src/hand/forward.js';
import { FINGERS, type HandSide } from '../../src/hand/joints.js';
import { createSkeleton } from '../../src/hand/skeleton.js';
import { SUBPROTOCOL_BINARY } from '../../src/protocol/messages.js';
import { discoveryFile, writeDiscoveryFile } from '../../src/stream/discovery.js';
import { encodeJointsBinary } from '../../src/stream/encode-binary.js';

export interface PeerHand {
  valid: boolean;
  space: 'wrist' | 'world';
  /** 0 invalid, 1 inferred, 2 tracked; thumb first. */
  fingers: Uint8Array;
  poses: Float64Array;
  velocities: Float64Array;
  values: Record<string, number | boolean>;
}

const EVERY_MS = 10;

/** All joints of a hand whose fingers are bent by so much, rad; on a wrist, if one is given. */
export function bentHand(side: HandSide, bend: number, root?: Float64Array): Float64Array {
  const skeleton = createSkeleton({ side });
  const dofs = new Float64Array(DOF_COUNT);
  for (let finger = 1; finger < FINGERS.length; finger++) {
    dofs[finger * 4] = bend;
    dofs[finger * 4 + 2] = bend;
    dofs[finger * 4 + 3] = (bend * 2) / 3;
  }
  const poses = createPoses();
  forwardKinematics(skeleton, dofs, poses, root);
  return poses;
}

/**
 * Stands in for the service where a test must know every number: it tells its whereabouts as the service does, speaks
 * the stream's protocol, sends the hands it is given a hundred times a second and keeps what it is asked.
 */
export class Peer {
  readonly runtimeFolder = mkdtempSync(join(tmpdir(), 'tautline-peer-'));
  readonly hands: Partial<Record<HandSide, PeerHand>> = {};
  readonly requests: { type: string; atMs: number; [field: string]: unknown }[] = [];
  readonly sockets = new Set<WebSocket>();
  /** Of the service's clock, which is nobody else's. */
  readonly epochUs = -123_456_789;
  /** Added to every welcome's hand. */
  mounts: Partial<Record<HandSide, number[]>> = {};
  /** The wearer wants places in stage space. */
  stage = false;
  /** Called with each connection. */
  connected: (socket: WebSocket) => void = () => {};
  /** Answers nothing and sends nothing. */
  frozen = false;
  #server: WebSocketServer | undefined;
  #timer: NodeJS.Timeout | undefined;
  #forget: (() => Promise<void>) | undefined;
  #seq = 0;

  static async start(): Promise<Peer> {
    const peer = new Peer();
    await peer.listen(0);
    return peer;
  }

  get port(): number {
    return (this.#server!.address() as AddressInfo).port;
  }

  nowUs = (): number => Math.round(performance.now() * 1000 + this.epochUs);

  async listen(port: number, token?: string): Promise<void> {
    const server = new WebSocketServer({
      host: '127.0.0.1',
      port,
      handleProtocols: (offered) => (offered.has(SUBPROTOCOL_BINARY) ? SUBPROTOCOL_BINARY : false),
      verifyClient: ({ req }: { req: IncomingMessage }) =>
        !token || req.headers.authorization === `Bearer ${token}`,
    });
    await once(server, 'listening');
    this.#server = server;
    server.on('connection', (socket) => {
      this.sockets.add(socket);
      socket.on('close', () => this.sockets.delete(socket));
      socket.on('error', () => {});
      socket.on('message', (data) => this.#take(socket, JSON.parse(String(data))));
      this.connected(socket);
      const hands = Object.keys(this.hands).map((hand) => ({ hand, mount: this.mounts[hand as HandSide] }));
      socket.send(JSON.stringify({ type: 'welcome', protocol: 1, timeUs: this.nowUs(), hands }));
    });
    this.#timer = setInterval(() => this.sendPoses(), EVERY_MS);
    await this.tell(token);
  }

  /** Where it is, for the layer to find. */
  async tell(token?: string): Promise<void> {
    const url = `ws://127.0.0.1:${this.port}/stream`;
    const file = discoveryFile({ XDG_RUNTIME_DIR: this.runtimeFolder }, 'linux')!;
    this.#forget = await writeDiscoveryFile(file, {
      url,
      ...(token && { token }),
      pid: process.pid,
      ...(this.stage ? { openxr: { deny: [], world: 'stage' as const } } : {}),
    });
  }

  #take(socket: WebSocket, message: { type: string; id?: number; timeUs?: number }): void {
    if (this.frozen) return;
    this.requests.push({ ...message, atMs: performance.now() });
    if (message.type === 'subscribe') this.sendPoses();
    if (message.type === 'subscribe')
      for (const hand of Object.keys(this.hands)) this.#sendInputs(hand as HandSide);
    const { id, type, timeUs: echoUs } = message;
    socket.send(JSON.stringify({ type: 'ack', for: type, id, echoUs, timeUs: this.nowUs() }));
  }

  /** Puts a glove on a hand, or changes what it says. */
  wear(side: HandSide, change: Partial<PeerHand> = {}): PeerHand {
    const hand = {
      valid: true,
      space: 'wrist' as const,
      fingers: new Uint8Array(5).fill(2),
      poses: bentHand(side, 0.3),
      velocities: createVelocities(),
      values: {},
      ...this.hands[side],
      ...change,
    };
    this.hands[side] = hand;
    this.sendPoses();
    this.#sendInputs(side);
    return hand;
  }

  /** Changes inputs, by the end of their path such as `trigger/value`, and waits until the layer has them. */
  async inputs(side: HandSide, values: Record<string, number | boolean>): Promise<void> {
    this.wear(side, { values: { ...this.hands[side]?.values, ...values } });
    await this.arrived();
  }

  /** Resolves when everything sent so far has been dealt with. */
  async arrived(): Promise<void> {
    for (const socket of this.sockets) {
      const answered = once(socket, 'pong');
      socket.ping();
      await answered;
    }
  }

  /** Resolves when somebody has subscribed. */
  async subscribed(): Promise<void> {
    while (!this.requests.some(({ type }) => type === 'subscribe')) await pause(2);
    await this.arrived();
  }

  sendPoses(timeUs = this.nowUs()): void {
    if (this.frozen) return;
    for (const [side, hand] of Object.entries(this.hands)) {
      const buffer = Buffer.alloc(2048);
      const { valid, space, fingers: fingerStates, poses, velocities } = hand;
      const head = {
        hand: side as HandSide,
        seq: this.#seq++,
        timeUs,
        aheadMs: 0,
        recorded: false,
        reason: undefined,
        pressures: undefined,
      };
      const end = encodeJointsBinary(buffer, 0, { ...head, valid, space, fingerStates, poses, velocities });
      for (const socket of this.sockets) socket.send(buffer.subarray(0, end));
    }
  }

  #sendInputs(side: HandSide): void {
    const entries = Object.entries(this.hands[side]!.values);
    const values = Object.fromEntries(
      entries.map(([name, value]) => [`/user/hand/${side}/input/${name}`, value]),
    );
    const text = JSON.stringify({ type: 'inputs', hand: side, seq: 0, timeUs: this.nowUs(), values });
    for (const socket of this.sockets) socket.send(text);
  }

  pulses(): Record<string, unknown>[] {
    return this.requests.filter(({ type }) => type === 'pulse');
  }

  /** Ends as a service does. @param untold false: as one that was killed, its file stays */
  async stop(untold = true): Promise<void> {
    clearInterval(this.#timer);
    if (untold) await this.#forget?.();
    for (const socket of this.sockets) socket.terminate();
    const server = this.#server;
    this.#server = undefined;
    if (server) await new Promise((done) => server.close(done));
  }

  async end(): Promise<void> {
    await this.stop();
    rmSync(this.runtimeFolder, { recursive: true, force: true });
  }
}

export const pause = (ms: number): Promise<void> => new Promise((done) => setTimeout(done, ms));
