// Where the ball is: in a hand, in the air or on the floor. Plain arithmetic: metres, seconds, y up.

const GRAVITY = -9.81;
/** As long as this, a ball was held, and not only brushed by fingers that moved past it. */
const HELD_S = 0.1;
/** The hand that threw it does not catch it right away. */
const LEAVING_S = 0.25;
/** So near the middle of the palm, a ball is caught. */
const REACH = 0.075;
/** Curl beyond which there is no room in the hand. */
const FULL = 0.6;
/** A hand that moves faster throws by its own motion; a slower one tosses to the other hand. */
const THROWING = 0.6;
const APEX = 0.3;
const FLOOR = -0.32;
const ON_FLOOR_S = 1.5;
/** At 3 m/s the ball moves 15 mm in it. */
const LONGEST_STEP_S = 0.005;

/**
 * @typedef {object} HandNow
 * @property {number[]} rest where a ball lies in the hand
 * @property {number[]} up out of the palm
 * @property {number[]} velocity of the palm
 * @property {number} closed 0 open, 1 closed
 * @property {boolean} carried fingers press it from two sides, as the service says
 */

/** @param {number} radius of the ball */
export function createFlight(radius) {
  const ball = { position: [0, 1, 0], velocity: [0, 0, 0], state: 'none', hand: undefined };
  const score = { throws: 0, catches: 0, drops: 0 };
  let inStateS = 0;
  let last;
  /** It lay in the hand before it was gripped. */
  const become = (state, hand) => {
    Object.assign(ball, { state, hand });
    inStateS = 0;
  };

  function put(hand) {
    last = hand;
    ball.velocity = [0, 0, 0];
    become('lying', hand);
  }

  function leave(velocity, thrown) {
    last = ball.hand;
    ball.velocity = velocity;
    if (thrown) score.throws++;
    become('flying', undefined);
  }

  /** Fast enough to come down on a target after its highest point. */
  function toss(from, to) {
    const top = Math.max(from[1], to[1]) + APEX;
    const up = Math.sqrt(-2 * GRAVITY * (top - from[1]));
    const seconds = up / -GRAVITY + Math.sqrt((2 * (top - to[1])) / -GRAVITY);
    return [(to[0] - from[0]) / seconds, up, (to[2] - from[2]) / seconds];
  }

  function inHand(hands) {
    const hand = hands[ball.hand];
    // Its glove is gone: whatever was in it falls.
    if (!hand) return leave([0, 0, 0], false);
    ball.position = [...hand.rest];
    if (ball.state === 'lying') {
      if (hand.carried) become('held', ball.hand);
      else if (hand.up[1] < 0.2) leave([...hand.velocity], false);
    } else if (!hand.carried) {
      if (inStateS < HELD_S) return become('lying', ball.hand);
      const other = Object.keys(hands).find((side) => side !== ball.hand) ?? ball.hand;
      const isThrown = Math.hypot(...hand.velocity) > THROWING;
      leave(isThrown ? [...hand.velocity] : toss(ball.position, hands[other].rest), true);
    }
  }

  function inAir(seconds, hands) {
    for (let i = 0; i < 3; i++) ball.position[i] += ball.velocity[i] * seconds;
    ball.position[1] += (GRAVITY * seconds * seconds) / 2;
    ball.velocity[1] += GRAVITY * seconds;
    for (const [side, hand] of Object.entries(hands)) {
      if (side === last && inStateS < LEAVING_S) continue;
      const away = ball.position.map((v, i) => v - hand.rest[i]);
      const towards = ball.velocity.reduce((sum, v, i) => sum + (v - hand.velocity[i]) * hand.up[i], 0);
      if (Math.hypot(...away) > REACH || towards > 0) continue;
      if (hand.closed < FULL) {
        score.catches++;
        return put(side);
      }
      // Off the knuckles.
      for (let i = 0; i < 3; i++) ball.velocity[i] -= 1.4 * towards * hand.up[i];
    }
    if (ball.position[1] > FLOOR + radius || ball.velocity[1] > 0) return;
    ball.position[1] = FLOOR + radius;
    ball.velocity = ball.velocity.map((v, i) => v * (i === 1 ? -0.5 : 0.7));
    if (Math.abs(ball.velocity[1]) > 0.4) return;
    score.drops++;
    ball.velocity = [0, 0, 0];
    become('fallen', undefined);
  }

  return {
    ball,
    score,
    floor: FLOOR,
    put,
    /** @param {Record<string, HandNow>} hands those that there are */
    step(seconds, hands) {
      // A slow display must not let the ball pass a hand between two pictures.
      const parts = Math.max(1, Math.ceil(seconds / LONGEST_STEP_S));
      for (let i = 0; i < parts; i++) this.part(seconds / parts, hands);
    },
    part(seconds, hands) {
      inStateS += seconds;
      const [first] = Object.keys(hands);
      if (first === undefined) return;
      const home = hands[last] ? last : first;
      if (ball.state === 'none' || (ball.state === 'fallen' && inStateS > ON_FLOOR_S)) put(home);
      if (ball.state === 'lying' || ball.state === 'held') inHand(hands);
      else if (ball.state === 'flying') inAir(seconds, hands);
    },
  };
}
