import { describe, expect, it } from 'vitest';

interface HandNow {
  rest: number[];
  up: number[];
  velocity: number[];
  closed: number;
  carried: boolean;
}
interface Flight {
  ball: { position: number[]; velocity: number[]; state: string; hand: string | undefined };
  score: { throws: number; catches: number; drops: number };
  floor: number;
  put(hand: string): void;
  step(seconds: number, hands: Record<string, HandNow>): void;
}
const { createFlight } = (await import('../../../src/client/demos/flight.js' as string)) as {
  createFlight(radius: number): Flight;
};

const RADIUS = 0.033;
const hand = (x: number, over: Partial<HandNow> = {}): HandNow => ({
  rest: [x, 0, 0],
  up: [0, 1, 0],
  velocity: [0, 0, 0],
  closed: 0,
  carried: false,
  ...over,
});

/** Grips and lets go. */
function thrown(frameS: number, over: Partial<HandNow> = {}, left = hand(-0.2)) {
  const flight = createFlight(RADIUS);
  const hands = { right: hand(0.2), left };
  flight.step(frameS, hands);
  for (let s = 0; s < 0.3; s += frameS)
    flight.step(frameS, { ...hands, right: hand(0.2, { carried: true }) });
  expect(flight.ball).toMatchObject({ state: 'held', hand: 'right' });
  flight.step(frameS, { ...hands, right: hand(0.2, over) });
  return { flight, hands };
}

describe.each([1 / 500, 1 / 90, 1 / 10])('at a picture every %f s', (frameS) => {
  it('a ball that is let go flies to the other hand, as a thrown body does', () => {
    const { flight, hands } = thrown(frameS);
    expect(flight.ball.state).toBe('flying');
    // The parabola of a thrown body (any textbook of mechanics): in the air for T, it rises by g T² / 8.
    const seconds = -0.4 / flight.ball.velocity[0];
    expect((9.81 * seconds ** 2) / 8).toBeCloseTo(0.3, 6);
    let flown = 0;
    while (flight.ball.state === 'flying') {
      flight.step(frameS, hands);
      flown += frameS;
      expect(flown).toBeLessThan(2);
    }
    expect(flight.ball).toMatchObject({ state: 'lying', hand: 'left' });
    // Caught as soon as it is within the hand's reach, so a little early.
    expect(Math.abs(flown - seconds)).toBeLessThan(0.06 + frameS);
    expect(flight.score).toEqual({ throws: 1, catches: 1, drops: 0 });
  });

  it('falls beside a hand that was moved away, and comes back', () => {
    const { flight, hands } = thrown(frameS, {}, hand(-0.2));
    const moved = { ...hands, left: hand(-0.5) };
    for (let s = 0; s < 4 && flight.ball.state !== 'fallen'; s += frameS) flight.step(frameS, moved);
    expect(flight.ball.state).toBe('fallen');
    expect(flight.ball.position[1]).toBeCloseTo(flight.floor + RADIUS, 6);
    expect(flight.score).toEqual({ throws: 1, catches: 0, drops: 1 });
    for (let s = 0; s < 2; s += frameS) flight.step(frameS, moved);
    expect(flight.ball).toMatchObject({ state: 'lying', hand: 'right' });
  });

  it('is not caught by a fist', () => {
    const { flight, hands } = thrown(frameS, {}, hand(-0.2, { closed: 1 }));
    for (let s = 0; s < 5 && flight.score.drops === 0; s += frameS) flight.step(frameS, hands);
    expect(flight.score).toMatchObject({ catches: 0, drops: 1 });
  });

  it('a hand that moves throws by its own motion', () => {
    const { flight } = thrown(frameS, { velocity: [-0.3, 2, 0.1] });
    const [x, , z] = flight.ball.velocity;
    expect([x, z]).toEqual([-0.3, 0.1]);
  });
});

describe('in a hand', () => {
  it('fingers that brush past it throw nothing', () => {
    const flight = createFlight(RADIUS);
    flight.step(0.01, { right: hand(0.2) });
    for (let i = 0; i < 5; i++) flight.step(0.01, { right: hand(0.2, { carried: true }) });
    flight.step(0.01, { right: hand(0.2) });
    expect(flight.ball.state).toBe('lying');
    expect(flight.score.throws).toBe(0);
  });

  it('falls out of one that is turned over, and of one whose glove is gone', () => {
    const ways: Record<string, HandNow>[] = [{ right: hand(0.2, { up: [0, -1, 0] }) }, { left: hand(-0.2) }];
    for (const hands of ways) {
      const flight = createFlight(RADIUS);
      flight.step(0.01, { right: hand(0.2) });
      flight.step(0.01, hands);
      expect(flight.ball.state).toBe('flying');
      expect(flight.score.throws).toBe(0);
    }
  });

  it('one hand alone throws it up, and catches it', () => {
    const flight = createFlight(RADIUS);
    const open = { right: hand(0.2) };
    flight.step(0.01, open);
    for (let i = 0; i < 20; i++) flight.step(0.01, { right: hand(0.2, { carried: true }) });
    for (let i = 0; i < 150; i++) flight.step(0.01, open);
    expect(flight.score).toEqual({ throws: 1, catches: 1, drops: 0 });
  });
});
