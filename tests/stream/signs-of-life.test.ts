import { describe, expect, it } from 'vitest';
import { SignsOfLife } from '../../src/stream/signs-of-life.js';

const LIMITS = { aliveEveryMs: 50, aliveWithinMs: 200 };

/** An app that holds something until 10 s, heard of at 0. */
function holder(isPage = false): SignsOfLife {
  const life = new SignsOfLife(LIMITS, isPage);
  life.bytes(0, true);
  life.message(0, true);
  life.holds(10_000);
  return life;
}

describe('signs of life', () => {
  it('what is held ends when they have been missing for the time, once', () => {
    const life = holder();
    expect(life.ends(199)).toBe(false);
    expect(life.ends(200)).toBe(true);
    expect(life.ends(201)).toBe(false);
  });

  it('any bytes are one for an app; for a page, whose browser answers pings by itself, messages alone', () => {
    const app = holder();
    app.bytes(150, true);
    expect(app.ends(349)).toBe(false);
    expect(app.ends(350)).toBe(true);
    const page = holder(true);
    page.bytes(150, true);
    page.pong(140, 150);
    expect(page.ends(200)).toBe(true);
    const busyPage = holder(true);
    busyPage.message(150, true);
    expect(busyPage.ends(349)).toBe(false);
  });

  it('bytes that may have waited in a long line are none', () => {
    const life = holder();
    life.bytes(150, false);
    expect(life.ends(200)).toBe(true);
  });

  it('are waited for a little when the service itself was late', () => {
    const life = holder();
    life.late(300);
    expect(life.ends(300)).toBe(false);
    expect(life.ends(379)).toBe(false);
    expect(life.ends(380)).toBe(true);
    // No more than that: what was heard later counts from then.
    const other = holder();
    other.bytes(290, true);
    other.late(300);
    expect(other.ends(489)).toBe(false);
    expect(other.ends(490)).toBe(true);
  });

  it('are waited for once, however often the service is late', () => {
    const life = holder();
    life.late(100);
    for (const nowMs of [250, 320]) {
      life.late(nowMs);
      expect(life.ends(nowMs), `${nowMs} ms`).toBe(false);
    }
    life.late(390);
    expect(life.ends(390)).toBe(true);
    // Heard again, it has its grace again.
    const other = holder();
    other.late(250);
    other.bytes(300, true);
    other.late(550);
    expect(other.ends(550)).toBe(false);
  });

  it('who holds nothing needs none', () => {
    const life = new SignsOfLife(LIMITS, false);
    life.bytes(0, true);
    expect(life.ends(1e6)).toBe(false);
    life.holds(500);
    expect(life.holding(499)).toBe(true);
    expect(life.holding(500)).toBe(false);
    expect(life.ends(500)).toBe(false);
  });

  it('who was silent is trusted again when it answers a ping soon, a page when a message comes', () => {
    const life = holder();
    expect(life.ends(200)).toBe(true);
    expect(life.doubted).toBe(true);
    life.bytes(300, true);
    expect(life.doubted).toBe(true);
    // An answer that took long may be of one that froze meanwhile.
    life.pong(60, 300);
    expect(life.doubted).toBe(true);
    life.pong(290, 300);
    expect(life.doubted).toBe(false);
    const page = holder(true);
    expect(page.ends(200)).toBe(true);
    page.message(300, false);
    expect(page.doubted).toBe(true);
    page.message(310, true);
    expect(page.doubted).toBe(false);
  });
});
