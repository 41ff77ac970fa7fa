import type { HandSide } from '../hand/joints.js';
import { isStream, STREAMS, type StreamName } from '../protocol/constants.js';
import type { AppMessageOf, ServerMessage, ServerMessageOf } from '../protocol/messages.js';
import { type Ack, Connection, type ConnectionState } from './connection.js';
import { ClientError } from './errors.js';
import { Events } from './events.js';
import { GestureChanges } from './gestures.js';
import { type Hold, type HoldRequest, Holds, type ResistRequest } from './hold.js';
import { Newest } from './newest.js';
import type { ClientEvents, ConnectOptions, Inputs, SubscriptionOptions, Welcome } from './options.js';
import { Pings } from './pings.js';
import { HandPose, poseFromBytes, poseFromMessage } from './pose.js';
import { predict } from './prediction.js';
import { createServiceClock } from './service-clock.js';
import { streamUrl, usualToken, usualUrl } from './socket.js';
import { whenArmed } from './when-armed.js';

/**
 * Connects to the service, and again whenever the connection is lost, until `close()`. Returns at once; events
 * and poses come when there is a service. Nothing needs to be running yet.
 */
export function connect(options: ConnectOptions = {}): Client {
  return new Client(options);
}

/** One app at the service. Made by `connect`. */
export class Client {
  /** What the service says about itself and the gloves; undefined until the first connection. */
  welcome: Welcome | undefined;
  readonly #events = new Events<ClientEvents>();
  readonly #connection: Connection;
  readonly #clock = createServiceClock();
  readonly #poses = new Map<HandSide, HandPose>();
  readonly #inputs = new Map<HandSide, Inputs>();
  readonly #poseToFill = (hand: HandSide): HandPose =>
    (this.options.reusePoses ? this.#poses.get(hand) : undefined) ?? new HandPose();
  readonly #gestures = new GestureChanges();
  readonly #armed = new Map<HandSide, boolean>();
  #iterations: readonly { hand: HandSide | undefined; newest: Newest<HandPose> }[] = [];
  readonly #holds: Holds;
  readonly #pings: Pings;
  /** Text of the subscription in force; undefined when there is none. */
  #subscribed: string | undefined;
  #subscribing = false;

  constructor(private options: ConnectOptions) {
    const { encoding = 'binary', signal, WebSocket } = options;
    const { url = usualUrl(), token = options.url ? undefined : usualToken() } = options;
    this.#connection = new Connection(
      streamUrl(url, token),
      encoding,
      {
        state: (state, reason) => this.#stateChanged(state, reason),
        message: (message) => this.#take(message),
        record: (bytes) => this.#takePose(bytes),
        error: (error) => this.#fail(error),
      },
      WebSocket,
    );
    const connection = this.#connection;
    this.#pings = new Pings(connection, this.#clock);
    this.#holds = new Holds({
      get connected() {
        return connection.state === 'open';
      },
      armed: (hand) => this.isArmed(hand),
      ask: (message) => connection.ask(message),
      error: (error) => this.#fail(error),
    });
    if (signal?.aborted) this.close();
    else {
      signal?.addEventListener('abort', () => this.close(), { once: true });
      // Not before the app has had a chance to listen.
      queueMicrotask(() => {
        if (this.state !== 'closed') void connection.open();
      });
    }
  }

  get state(): ConnectionState {
    return this.#connection.state;
  }

  /** Resolves with the welcome as soon as there is a connection. Rejects with ClientError `closed`. */
  ready(): Promise<Welcome> {
    if (this.state === 'open' && this.welcome) return Promise.resolve(this.welcome);
    const closed = () => new ClientError('closed', 'The client was closed.');
    if (this.state === 'closed') return Promise.reject(closed());
    return new Promise((resolve, reject) => {
      const stop = [
        this.on('welcome', (welcome) => {
          for (const off of stop) off();
          resolve(welcome);
        }),
        this.on('state', ({ state }) => {
          if (state !== 'closed') return;
          for (const off of stop) off();
          reject(closed());
        }),
      ];
    });
  }

  /** Listens; returns the function that stops it. A stream that nobody asked for yet is subscribed. */
  on<T extends keyof ClientEvents>(type: T, listener: (event: ClientEvents[T]) => void): () => void {
    const off = this.#events.on(type, listener);
    if (isStream(type) || type === 'gesture') this.#wantsChanged();
    return () => {
      off();
      if (isStream(type) || type === 'gesture') this.#wantsChanged();
    };
  }

  /**
   * Changes what the service sends, now and after every reconnection. What is not named stays as it is; `streams` undefined
   * is again joints, and everything that has listeners. A page that is not seen asks for less with
   * `adjust({ streams: ['health'] })`, and for all of it with `adjust({ streams: undefined })`.
   */
  adjust(changes: SubscriptionOptions): void {
    this.options = { ...this.options, ...changes };
    this.#wantsChanged();
  }

  // ---- the hand ------------------------------------------------------------------------------------------

  /** The newest pose of a hand; undefined until the first. Not valid once the connection is lost. */
  pose(hand: HandSide): HandPose | undefined {
    return this.#poses.get(hand);
  }

  /**
   * The pose as it will be when it is seen, carried ahead by its velocities by at most 50 ms.
   * @param displayMs when it is shown, on the clock of `performance.now()`, such as the time that
   *   `requestAnimationFrame` gives; now when absent
   * @param into an earlier result of this function, to be written again
   */
  poseAt(hand: HandSide, displayMs: number = performance.now(), into = new HandPose()): HandPose | undefined {
    const pose = this.#poses.get(hand);
    if (!pose) return undefined;
    const timeUs = this.serviceTimeUs(displayMs);
    return predict(pose, timeUs === undefined ? 0 : timeUs - pose.timeUs - pose.aheadUs, into);
  }

  /** Poses as they come, the newest each time: a slow loop skips, nothing queues. Ends with `close()`. */
  poses(hand?: HandSide): AsyncIterableIterator<HandPose> {
    const iteration = {
      hand,
      newest: new Newest<HandPose>(() => {
        this.#iterations = this.#iterations.filter((each) => each !== iteration);
      }),
    };
    this.#iterations = [...this.#iterations, iteration];
    if (this.state === 'closed') iteration.newest.end();
    return iteration.newest;
  }

  /** The newest inputs of a hand, if inputs are subscribed (`on('inputs', …)` or `streams`). */
  inputs(hand: HandSide): Inputs | undefined {
    return this.#inputs.get(hand);
  }

  // ---- forces --------------------------------------------------------------------------------------------

  /** Whether the wearer has permitted forces, as far as is known. */
  isArmed(hand: HandSide): boolean {
    return this.#armed.get(hand) ?? false;
  }

  /**
   * Puts a shape into the hand until it is released. Renewed as long as the connection lasts, the glove is armed
   * and the page is seen (or moves it); let go within 250 ms otherwise.
   */
  hold(request: HoldRequest): Hold<Partial<Omit<HoldRequest, 'hand'>>> {
    const hold = this.#holds.add<Partial<Omit<HoldRequest, 'hand'>>>({ ...request, type: 'touch' });
    this.#wantsChanged();
    return hold;
  }

  /** Stops fingers at given curls until it is released; renewed as `hold` is. */
  resist(request: ResistRequest): Hold<Partial<Omit<ResistRequest, 'hand'>>> {
    const hold = this.#holds.add<Partial<Omit<ResistRequest, 'hand'>>>({ ...request, type: 'resist' });
    this.#wantsChanged();
    return hold;
  }

  /** Gives up everything that this app holds, on one hand or on all. */
  release(hand?: HandSide): Promise<Ack> {
    this.#holds.releaseAll(hand);
    return this.#connection.ask({ type: 'release', hand });
  }

  /** A short buzz or knock. */
  pulse(request: Omit<AppMessageOf<'pulse'>, 'type' | 'id'>): Promise<Ack> {
    return this.#connection.ask({ ...request, type: 'pulse' });
  }

  /** Says where the wrist is in the world: joints then come in world space. */
  track(request: Omit<AppMessageOf<'tracker'>, 'type' | 'id'>): Promise<Ack> {
    return this.#connection.ask({ ...request, type: 'tracker' });
  }

  /** Says that the wearer holds the hand flat and open now. */
  rezero(hand?: HandSide): Promise<Ack> {
    return this.#connection.ask({ type: 'rezero', hand });
  }

  /**
   * Resolves once the wearer has armed the glove. Show them how meanwhile: `welcome.hands[].howToArm`. Rejects with
   * ClientError `closed`.
   * @param signal gives up waiting; rejects with its reason
   */
  whenArmed(hand: HandSide, options: { signal?: AbortSignal } = {}): Promise<void> {
    return whenArmed(this, hand, options.signal);
  }

  /**
   * Permits forces in the wearer's place. For an app that the profile permits to by name and token; every other is
   * refused with a line that says how the wearer arms. Call it only upon a deliberate act of the wearer; show the
   * `caution` of the answer.
   */
  async arm(hand?: HandSide): Promise<Ack> {
    return this.#setArmed(await this.#connection.ask({ type: 'arm', hand }), hand, true);
  }

  /** Forbids forces and frees every finger, now. */
  async disarm(hand?: HandSide): Promise<Ack> {
    return this.#setArmed(await this.#connection.ask({ type: 'disarm', hand }), hand, false);
  }

  // ---- time and end --------------------------------------------------------------------------------------

  /** The service's clock, µs, at an instant of `performance.now()`; undefined before the first connection. */
  serviceTimeUs(localMs: number = performance.now()): number | undefined {
    return this.#clock.serviceTimeUs(localMs);
  }

  /** Bound of the error of `serviceTimeUs`, µs. */
  get clockErrorUs(): number {
    return this.#clock.errorUs;
  }

  /** Ends the connection for good. The service frees at once what this app held. */
  close(): void {
    if (this.state === 'closed') return;
    this.#holds.releaseAll(undefined);
    for (const { newest } of this.#iterations) newest.end();
    this.#connection.close();
  }

  // ---- inside --------------------------------------------------------------------------------------------

  #stateChanged(state: ConnectionState, reason: string | undefined): void {
    if (state === 'open') {
      this.#pings.reset();
    } else {
      this.#pings.stop();
      this.#subscribed = undefined;
      this.#armed.clear();
      if (state !== 'connecting') this.#losePoses(reason ?? 'The client was closed.');
      this.#holds.renew();
    }
    this.#events.emit('state', { state, reason });
    if (state === 'closed') this.#events.clear();
  }

  #losePoses(reason: string): void {
    for (const change of this.#gestures.end(this.serviceTimeUs() ?? 0)) this.#events.emit('gesture', change);
    for (const [hand, pose] of this.#poses) {
      if (!pose.valid) continue;
      const lost = Object.assign(new HandPose(), pose, { valid: false, reason });
      lost.fingers = {
        thumb: 'invalid',
        index: 'invalid',
        middle: 'invalid',
        ring: 'invalid',
        little: 'invalid',
      };
      this.#givePose(hand, lost);
    }
  }

  #take(message: ServerMessage): void {
    switch (message.type) {
      case 'joints':
        this.#takePose(message);
        break;
      case 'inputs':
        this.#inputs.set(message.hand, message);
        this.#events.emit('inputs', message);
        break;
      case 'resistance':
        this.#setOneArmed(message.hand, message.armed);
        this.#events.emit('resistance', message);
        break;
      case 'health':
        this.#events.emit('health', message);
        break;
      case 'signals':
        this.#events.emit('signals', message);
        break;
      case 'gestures':
        this.#events.emit('gestures', message);
        for (const change of this.#gestures.changes(message)) this.#events.emit('gesture', change);
        break;
      case 'welcome':
        this.#takeWelcome(message);
        break;
    }
  }

  #takeWelcome(welcome: Welcome): void {
    this.welcome = welcome;
    for (const { hand, armed } of welcome.hands) this.#armed.set(hand, armed);
    this.#pings.begin();
    this.#subscribe();
    this.#holds.renew();
    this.#events.emit('welcome', welcome);
  }

  /** @param source a binary record or its message */
  #takePose(source: ArrayBuffer | Uint8Array | ServerMessageOf<'joints'>): void {
    let pose: HandPose;
    try {
      pose = 'type' in source ? poseFromMessage(source) : poseFromBytes(source, this.#poseToFill);
    } catch (error) {
      this.#fail(new ClientError('badAnswer', (error as Error).message));
      return;
    }
    this.#givePose(pose.hand, pose);
  }

  #givePose(hand: HandSide, pose: HandPose): void {
    this.#poses.set(hand, pose);
    this.#events.emit('joints', pose);
    // By index: an iterator would be garbage for every pose.
    const iterations = this.#iterations;
    for (let i = 0; i < iterations.length; i++) {
      if (iterations[i].hand === undefined || iterations[i].hand === hand) iterations[i].newest.put(pose);
    }
  }

  #setArmed(ack: Ack, hand: HandSide | undefined, armed: boolean): Ack {
    for (const each of this.welcome?.hands ?? []) {
      if (hand === undefined || each.hand === hand) this.#setOneArmed(each.hand, armed);
    }
    return ack;
  }

  #setOneArmed(hand: HandSide, armed: boolean): void {
    if (this.#armed.get(hand) === armed) return;
    this.#armed.set(hand, armed);
    this.#holds.renew();
  }

  /** An error that nobody listens for is said once on the console: silence would cost the developer hours. */
  #fail(error: ClientError): void {
    if (this.#events.has('error')) this.#events.emit('error', error);
    else if (error.code !== 'notConnected') console.warn(`tautline: ${error.code}: ${error.message}`);
  }

  #wantedStreams(): StreamName[] {
    const listened = (stream: StreamName) =>
      this.#events.has(stream) || (stream === 'gestures' && this.#events.has('gesture'));
    const chosen = this.options.streams ?? STREAMS.filter((s) => s === 'joints' || listened(s));
    // Whoever holds must know whether the glove is armed.
    return this.#holds.any && !chosen.includes('resistance') ? [...chosen, 'resistance'] : [...chosen];
  }

  /** Several changes in one turn make one subscription. */
  #wantsChanged(): void {
    if (this.#subscribing || this.state !== 'open') return;
    this.#subscribing = true;
    queueMicrotask(() => {
      this.#subscribing = false;
      if (this.state === 'open') this.#subscribe();
    });
  }

  #subscribe(): void {
    const { app, hands, rateHz, restHz, velocities = true, surface, predictMs } = this.options;
    const request = {
      type: 'subscribe' as const,
      app,
      hands,
      streams: this.#wantedStreams(),
      rateHz,
      restHz,
      velocities,
      surface,
      predictMs,
    };
    const text = JSON.stringify(request);
    if (text === this.#subscribed) return;
    this.#subscribed = text;
    this.#connection.ask(request).catch((error: ClientError) => {
      // Tried again with the next welcome: the hand may not have been known yet.
      if (this.#subscribed === text) this.#subscribed = undefined;
      if (error.code !== 'connectionLost' && error.code !== 'closed') this.#fail(error);
    });
  }
}
