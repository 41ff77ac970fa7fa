import type { HandSide } from '../hand/joints.js';
import { PASSING_REFUSALS } from '../protocol/constants.js';
import type { AppMessageOf } from '../protocol/messages.js';
import type { Ack } from './connection.js';
import { ClientError } from './errors.js';

type Touch = Omit<AppMessageOf<'touch'>, 'type' | 'id' | 'layer' | 'ttlMs'>;
type Resist = Omit<AppMessageOf<'resist'>, 'type' | 'id' | 'layer' | 'ttlMs'>;
/** A shape that the hand touches: `hand`, `shape`, its pose in `space`, `effort`, `stiffness`, `texture`. */
export type HoldRequest = Touch;
/** Stops by finger: `hand` and `fingers: { index: { stopAt, effort } }`. */
export type ResistRequest = Resist;

/**
 * asking: no answer yet. held: in force. paused: not in force, and resumed when the reason is gone. refused: the
 * service will never accept it. released: ended by the app.
 */
export type HoldState = 'asking' | 'held' | 'paused' | 'refused' | 'released';

/** Something that the app wants felt until it releases it. */
export interface Hold<Changes> {
  readonly hand: HandSide;
  /** Its layer at the service, as `gestures.touches` names it. */
  readonly layer: string;
  readonly state: HoldState;
  /** Why it is paused or refused. */
  readonly error: ClientError | undefined;
  /** Why the service grants less than was asked for, if it does. */
  readonly limited: string | undefined;
  /** Moves or changes it: what is not named stays. Sent at once, at most every 8 ms. */
  move(changes: Changes): void;
  /** Frees the fingers. */
  release(): void;
  /** Resolves as soon as it is not `asking`. */
  answered(): Promise<HoldState>;
}

/** Lifetime of each request at the service: what a crashed app leaves behind is gone after this. */
export const HOLD_TTL_MS = 250;
/** Two renewals may be late before a page counts as hung (200 ms), and three before the request expires. */
export const RENEW_MS = 60;
const MOVE_MS = 8;

export interface HoldHost {
  readonly connected: boolean;
  armed(hand: HandSide): boolean;
  ask(message: AppMessageOf<'touch'> | AppMessageOf<'resist'> | AppMessageOf<'release'>): Promise<Ack>;
  error(error: ClientError): void;
}

type Message = (Touch & { type: 'touch' }) | (Resist & { type: 'resist' });

const PAUSE = {
  notConnected: new ClientError('notConnected', 'There is no connection to the service.'),
  disarmed: new ClientError('disarmed', 'The glove is disarmed: no force until the wearer arms it.'),
  hidden: new ClientError('pageHidden', 'The page is hidden, and the app does not move what it holds.'),
};

/** Renews what the app holds, for as long as app, page, connection and wearer all want it. */
export class Holds {
  readonly #all = new Set<LiveHold>();
  #timer: ReturnType<typeof setInterval> | undefined;
  #count = 0;

  constructor(readonly host: HoldHost) {}

  get any(): boolean {
    return this.#all.size > 0;
  }

  add<Changes>(message: Message): Hold<Changes> {
    const hold = new LiveHold(this.host, message, `hold${++this.#count}`, () => this.#remove(hold));
    this.#all.add(hold);
    if (this.#timer === undefined) {
      this.#timer = setInterval(() => this.renew(), RENEW_MS);
      for (const type of ['visibilitychange', 'freeze']) page?.addEventListener(type, this.#look);
    }
    hold.renew();
    return hold as Hold<Changes>;
  }

  /** Also called when the connection or the arming changed. */
  renew(): void {
    for (const hold of [...this.#all]) hold.renew();
  }

  releaseAll(hand: HandSide | undefined): void {
    for (const hold of [...this.#all]) if (hand === undefined || hold.hand === hand) hold.release();
  }

  #remove(hold: LiveHold): void {
    this.#all.delete(hold);
    if (this.#all.size > 0) return;
    clearInterval(this.#timer);
    this.#timer = undefined;
    for (const type of ['visibilitychange', 'freeze']) page?.removeEventListener(type, this.#look);
  }

  readonly #look = (): void => {
    for (const hold of this.#all) if (isHidden()) hold.pause(PAUSE.hidden);
  };
}

/** The web page this runs in, if it does. */
const page = (
  globalThis as { document?: Pick<Document, 'visibilityState' | 'addEventListener' | 'removeEventListener'> }
).document;
const isHidden = (): boolean => page?.visibilityState === 'hidden';

class LiveHold implements Hold<object> {
  state: HoldState = 'asking';
  error: ClientError | undefined;
  limited: string | undefined;
  #sentMs = Number.NEGATIVE_INFINITY;
  #movedMs = performance.now();
  #moveTimer: ReturnType<typeof setTimeout> | undefined;
  #waiting: ((state: HoldState) => void)[] = [];
  /** Requests so far. Answers come in their order, however late: each says how it stood when that one was taken. */
  #asked = 0;
  /** What was asked up to here was let go since: its answers say nothing about now. */
  #letGo = 0;

  constructor(
    readonly host: HoldHost,
    private message: Message,
    readonly layer: string,
    readonly forget: () => void,
  ) {}

  get hand(): HandSide {
    return this.message.hand;
  }

  move(changes: object): void {
    if (this.state === 'released' || this.state === 'refused') return;
    this.message = { ...this.message, ...changes };
    this.#movedMs = performance.now();
    if (this.#moveTimer !== undefined) return;
    const waitMs = this.#sentMs + MOVE_MS - this.#movedMs;
    if (waitMs <= 0) this.renew();
    else {
      this.#moveTimer = setTimeout(() => {
        this.#moveTimer = undefined;
        this.renew();
      }, Math.ceil(waitMs));
    }
  }

  release(): void {
    if (this.state === 'released') return;
    const gone = this.state === 'refused';
    this.error = undefined;
    this.#end('released');
    if (!gone) this.#free();
  }

  answered(): Promise<HoldState> {
    if (this.state !== 'asking') return Promise.resolve(this.state);
    return new Promise((resolve) => this.#waiting.push(resolve));
  }

  renew(): void {
    if (this.state === 'released' || this.state === 'refused') return;
    const nowMs = performance.now();
    if (!this.host.connected) this.pause(PAUSE.notConnected);
    else if (!this.host.armed(this.hand) && !this.#asksForNoForce) this.pause(PAUSE.disarmed);
    // A hidden page draws no frames: what it holds lasts only while the app itself moves it.
    else if (isHidden() && nowMs - this.#movedMs > HOLD_TTL_MS) this.pause(PAUSE.hidden);
    else this.#ask(nowMs);
  }

  /** Such a touch is taken while the glove is disarmed, too: for `gestures`. */
  get #asksForNoForce(): boolean {
    return this.message.type === 'touch' && this.message.effort === 0;
  }

  pause(error: ClientError): void {
    if (this.state === 'released' || this.state === 'refused') return;
    // Asked counts as held: the request may be on its way.
    const asked = this.state !== 'paused' && this.#asked > this.#letGo;
    this.error = error;
    this.#become('paused');
    this.#letGo = this.#asked;
    if (asked) this.#free();
  }

  #ask(nowMs: number): void {
    this.#sentMs = nowMs;
    const asked = ++this.#asked;
    this.host.ask({ ...this.message, layer: this.layer, ttlMs: HOLD_TTL_MS }).then(
      ({ limited }) => {
        if (asked <= this.#letGo || this.state === 'released' || this.state === 'refused') return;
        this.error = undefined;
        this.limited = limited;
        this.#become('held');
      },
      (error: ClientError) => {
        if (this.state === 'released' || this.state === 'refused') return;
        if (TRANSIENT.has(error.code)) {
          if (asked > this.#letGo) this.pause(error);
          return;
        }
        this.error = error;
        this.#end('refused');
        // What was taken before is not wanted any more, either.
        this.#free();
        this.host.error(error);
      },
    );
  }

  #free(): void {
    if (!this.host.connected) return;
    // The request would expire by itself; this is only sooner.
    this.host.ask({ type: 'release', hand: this.hand, layer: this.layer }).catch(() => {});
  }

  #end(state: 'released' | 'refused'): void {
    clearTimeout(this.#moveTimer);
    this.#become(state);
    this.forget();
  }

  #become(state: HoldState): void {
    this.state = state;
    if (state === 'asking') return;
    for (const resolve of this.#waiting.splice(0)) resolve(state);
  }
}

/** After these it is asked again. */
const TRANSIENT = new Set<string>([
  ...PASSING_REFUSALS,
  ...['notConnected', 'connectionLost', 'noAnswer', 'closed'],
]);
