import { expect, it } from 'vitest';
import { Pings } from '../../src/stream/pings.js';

function create() {
  const sent: Buffer[] = [];
  return { sent, pings: new Pings((payload) => sent.push(payload)) };
}

it('one at a time; the pong must be of the newest (RFC 6455, 5.5.3)', () => {
  const { sent, pings } = create();
  expect(pings.answered(Buffer.alloc(0), 0)).toBe(false);
  pings.send(5);
  expect(pings).toMatchObject({ unanswered: true, sentMs: 5 });
  expect(pings.answered(Buffer.from('else'), 6)).toBe(false);
  expect(pings.answered(sent[0], 6)).toBe(true);
  expect(pings.unanswered).toBe(false);
  expect(pings.answered(sent[0], 7)).toBe(false);
});

it('a line is open until a ping that was sent after it is answered', () => {
  const { sent, pings } = create();
  expect(pings.lineIsOpen).toBe(false);
  pings.drawLine(10);
  expect(sent.length).toBe(1);
  expect(pings.lineIsOpen).toBe(true);
  pings.answered(sent[0], 12);
  expect(pings.lineIsOpen).toBe(false);
});

it('a ping that was on its way when the line was drawn does not close it', () => {
  const { sent, pings } = create();
  pings.send(0);
  pings.drawLine(10);
  expect(sent.length).toBe(1);
  pings.answered(sent[0], 12);
  expect(pings.lineIsOpen).toBe(true);
  expect(sent.length).toBe(2);
  // Another disarm meanwhile: one more.
  pings.drawLine(20);
  pings.answered(sent[1], 22);
  expect(pings.lineIsOpen).toBe(true);
  pings.answered(sent[2], 24);
  expect(pings.lineIsOpen).toBe(false);
  expect(sent.length).toBe(3);
});

it('lines drawn in the same moment are one', () => {
  const { sent, pings } = create();
  pings.drawLine(10);
  pings.drawLine(10.1);
  pings.answered(sent[0], 12);
  expect(pings.lineIsOpen).toBe(false);
});
