import { FINGER_COUNT } from './requests.js';

const TICK_S = 0.02;
/** Ticks by which a stop follows later: longer than an open wiper takes to be told by its fall (open-wiper.ts). */
const FOLLOW_TICKS = 5;
/** Without a step for so long, what was before says nothing. */
const LONGEST_S = 0.1;
/**
 * Speed over FOLLOW_TICKS that is a finger's, curl/s. The worst that an open input creeps is 0.26: 100 nA out of 100 nF
 * (docs/wiring.md).
 */
const MOVES_PER_S = 0.3;
/** From the quickest part of a motion to its end, s. */
const COMES_TO_REST_S = 0.25;
const CREEPS = 0.02;
/** What is shown of a channel that is healthy again is eased from its estimate for so long (EASE_S), s. */
const EASED_S = 0.35;
/**
 * How far the neighbours go, curl, before a finger that went less than this part of it is wondered at, and how much each
 * (column) says of this one (row): a closing of the whole hand counts twice. The thumb goes its own way. No source: what
 * is known of fingers is that none moves alone (Hager-Ross & Schieber, Journal of Neuroscience 20(22), 2000).
 */
const NEIGHBOURS_WAY = 0.6;
const OWN_PART = 0.08;
const TIES = [
  [0, 0.4, 0.4, 0.4, 0.4],
  [0, 0, 1.2, 0.8, 0],
  [0, 0.8, 0, 1.2, 0],
  [0, 0, 1, 0, 1],
  [0, 0, 0.8, 1.2, 0],
] as const;
/** A finger is arrested: from closing to within this way, curl, in so long. */
const STILL = 0.006;
const ARREST_S = 0.25;
/** It presses on its stop if it is this far past it, curl, by what servo and calibration give. */
const PRESSED = 0.01;
const DEEPEST = 0.08;
/** At the end of its way a finger goes nowhere. */
const END = 0.9;
/**
 * When the stop goes away by this much, a finger that pressed goes on by this much in so many ticks, within so long: the
 * 2 N that go with PRESSED move one of 3600 N/m (src/firmware/host/finger_physics.h) by 0.013 curl, and an open input
 * creeps by less.
 */
const GOES_AWAY = 0.05;
const ANSWER = 0.008;
const ANSWER_TICKS = 3;
const ANSWERS_S = 0.35;

/**
 * What the motion of fingers says of their sensors: a wiper that hangs in the air, a string off its spool or a slipped
 * grub screw give readings that stand still, or creep, with the noise of a healthy channel. A stop that trusts them can
 * draw a finger open that is elsewhere.
 *
 * So a stop comes nearer only where the finger was seen to move to, at the speed of a finger (MOVES) and not of a
 * capacitor that leaks; and it follows a moment later (FOLLOW_TICKS), so that a reading that runs away is known for what
 * it is first. A finger has to be seen to move again, before a stop comes any nearer, when
 *
 * - its channel was at fault: what it reads now may be chance,
 * - it stood still while its neighbours went a good way (NEIGHBOURS_WAY),
 * - it did not answer: it had run up against its stop and pressed on it, the stop went away, and it stayed where it was.
 *   Then it is freed as well.
 *
 * A finger at rest, a stiff one, one that closes slowly on its stop: all as before, for none of these is seen of them.
 */
export class SeenMotion {
  /** Per finger, curl: no stop comes nearer than this. */
  readonly nearest = new Float64Array(FINGER_COUNT);
  /** Per finger, 1: it has to be seen to move before a stop comes nearer. */
  readonly unseen = new Uint8Array(FINGER_COUNT);
  /** Per finger, 1: for not having answered its stop. */
  readonly unanswered = new Uint8Array(FINGER_COUNT);
  /** Per finger, 1: it has crept away from where it was last seen to move to. */
  readonly crept = new Uint8Array(FINGER_COUNT);

  /** The newest reading that is a number. */
  private readonly now = new Float64Array(FINGER_COUNT);
  /** Readings of the last ticks, oldest first, and the greatest of each tick. */
  private readonly past = new Float64Array(FINGER_COUNT * FOLLOW_TICKS);
  private readonly tops = new Float64Array(FINGER_COUNT * FOLLOW_TICKS);
  private readonly top = new Float64Array(FINGER_COUNT);
  /** Since the finger was last seen to move, to close, and since its channel is healthy, s. */
  private readonly seenS = new Float64Array(FINGER_COUNT).fill(Number.POSITIVE_INFINITY);
  private readonly closedS = new Float64Array(FINGER_COUNT).fill(Number.POSITIVE_INFINITY);
  private readonly healthyS = new Float64Array(FINGER_COUNT).fill(Number.POSITIVE_INFINITY);
  /** Where each finger (column) was when this one (row) was last seen to move, and how far it went from there, curl. */
  private readonly from = new Float64Array(FINGER_COUNT * FINGER_COUNT);
  private readonly ways = new Float64Array(FINGER_COUNT * FINGER_COUNT);
  /** Where it leans on its stop, curl; not a number: it does not. And since the stop has gone away, s. */
  private readonly leansAt = new Float64Array(FINGER_COUNT).fill(Number.NaN);
  private readonly goneS = new Float64Array(FINGER_COUNT);
  private readonly lengths = new Float64Array(FOLLOW_TICKS).fill(TICK_S);
  /** Not a number until the first tick. */
  private windowS = Number.NaN;
  private tickS = 0;
  private forgetful = true;

  /**
   * @param curls as measured
   * @param healthy per finger, 1 while its channel is
   * @param fresh samples are coming; if not, that a finger is not measured says nothing of its channel
   * @param held per finger, 1: its stop was on until now
   * @param places curl at which each stop is by now, or further away
   */
  follow(
    curls: Float64Array,
    healthy: Uint8Array,
    fresh: boolean,
    held: Uint8Array,
    places: Float64Array,
    passedS: number,
  ): void {
    const { now } = this;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      if (Number.isFinite(curls[finger])) now[finger] = curls[finger];
    }
    if (this.forgetful || passedS > LONGEST_S) this.begin();
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      const curl = now[finger];
      if (curl > this.nearest[finger]) this.nearest[finger] = curl;
      if (curl > this.top[finger]) this.top[finger] = curl;
      if (healthy[finger] === 1 && Number.isFinite(curls[finger])) continue;
      this.healthyS[finger] = 0;
      if (fresh) this.unseen[finger] = 1;
    }
    this.tickS += passedS;
    if (this.tickS < TICK_S) return;
    this.keepTime();
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      this.tick(finger, now[finger], held[finger] === 1, places[finger]);
    }
    for (let finger = 0; finger < FINGER_COUNT; finger++) this.compare(finger);
    this.tickS = 0;
  }

  /** There was a gap: no motion can be seen over it. */
  forget(): void {
    this.forgetful = true;
  }

  private begin(): void {
    this.forgetful = false;
    if (Number.isNaN(this.windowS))
      for (let at = 0; at < FINGER_COUNT; at++) this.from.set(this.now, at * FINGER_COUNT);
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      const curl = this.now[finger];
      this.past.fill(curl, finger * FOLLOW_TICKS, (finger + 1) * FOLLOW_TICKS);
      this.tops.fill(curl, finger * FOLLOW_TICKS, (finger + 1) * FOLLOW_TICKS);
      this.top[finger] = curl;
      this.leansAt[finger] = Number.NaN;
    }
  }

  /** How long ago the oldest of the past readings was. */
  private keepTime(): void {
    const { lengths } = this;
    this.windowS = this.tickS;
    for (let at = 1; at < FOLLOW_TICKS; at++) {
      this.windowS += lengths[at];
      lengths[at - 1] = lengths[at];
    }
    lengths[FOLLOW_TICKS - 1] = this.tickS;
  }

  private tick(finger: number, curl: number, held: boolean, place: number): void {
    const { past, tops, tickS } = this;
    const first = finger * FOLLOW_TICKS;
    const way = curl - past[first];
    let highest = this.top[finger];
    for (let at = first; at < first + FOLLOW_TICKS - 1; at++) {
      past[at] = past[at + 1];
      tops[at] = tops[at + 1];
      if (tops[at] > highest) highest = tops[at];
    }
    past[first + FOLLOW_TICKS - 1] = curl;
    tops[first + FOLLOW_TICKS - 1] = this.top[finger];
    this.top[finger] = curl;

    this.healthyS[finger] += tickS;
    const least = MOVES_PER_S * this.windowS;
    this.closedS[finger] = way >= least ? 0 : this.closedS[finger] + tickS;
    const moves = (way >= least || way <= -least) && this.healthyS[finger] > EASED_S;
    this.seenS[finger] = moves ? 0 : this.seenS[finger] + tickS;
    if (moves) {
      this.unseen[finger] = 0;
      this.unanswered[finger] = 0;
    }
    if (this.seenS[finger] < COMES_TO_REST_S) this.nearest[finger] = Math.max(highest, curl);
    this.crept[finger] =
      this.seenS[finger] >= COMES_TO_REST_S && curl < this.nearest[finger] - CREEPS ? 1 : 0;
    this.awaitAnswer(finger, curl, way, held, place);
  }

  /** Whether a finger that leans on its stop goes on when the stop goes away. */
  private awaitAnswer(finger: number, curl: number, way: number, held: boolean, place: number): void {
    const { leansAt, goneS } = this;
    const depth = curl - place;
    const atStop = held && curl < END && depth > PRESSED && depth < DEEPEST;
    const arrested = Math.abs(way) < STILL && this.closedS[finger] < ARREST_S;
    if (atStop && (arrested || leansAt[finger] > 0) && this.seenS[finger] > 0) {
      leansAt[finger] = curl;
      goneS[finger] = 0;
      return;
    }
    // It goes on, or away, or never leaned.
    const lately = curl - this.past[finger * FOLLOW_TICKS + FOLLOW_TICKS - 1 - ANSWER_TICKS];
    if (!(leansAt[finger] > 0 && lately < ANSWER) || this.seenS[finger] === 0) {
      leansAt[finger] = Number.NaN;
      return;
    }
    goneS[finger] = place > leansAt[finger] + GOES_AWAY ? goneS[finger] + this.tickS : 0;
    if (goneS[finger] < ANSWERS_S) return;
    this.unseen[finger] = 1;
    this.unanswered[finger] = 1;
    leansAt[finger] = Number.NaN;
  }

  /** How far its neighbours went since this finger was last seen to move. */
  private compare(finger: number): void {
    const { now, from, ways } = this;
    const first = finger * FINGER_COUNT;
    if (this.seenS[finger] === 0) {
      for (let other = 0; other < FINGER_COUNT; other++) {
        from[first + other] = now[other];
        ways[first + other] = 0;
      }
      return;
    }
    if (this.seenS[finger] < COMES_TO_REST_S) from[first + finger] = now[finger];
    let neighboursWay = 0;
    for (let other = 0; other < FINGER_COUNT; other++) {
      const way = Math.abs(now[other] - from[first + other]);
      if (way > ways[first + other]) ways[first + other] = way;
      if (this.healthyS[other] > 0) neighboursWay += TIES[finger][other] * ways[first + other];
    }
    const stood = ways[first + finger] < OWN_PART * neighboursWay;
    if (stood && neighboursWay > NEIGHBOURS_WAY) this.unseen[finger] = 1;
  }
}
