import fc from 'fast-check';
import { expect, it } from 'vitest';
import { permitted } from '../../../src/client/extension/filter.js';
import { AppMessages } from '../../../src/protocol/messages.js';

const SITE = 'world.example';
const through = (message: unknown) => {
  const text = permitted(JSON.stringify(message), SITE);
  return text === undefined ? undefined : (JSON.parse(text) as Record<string, unknown>);
};

it('lets a page ask for poses, under the name of its site, and for the time', () => {
  expect(
    through({ type: 'subscribe', id: 1, app: 'Bench page', streams: ['signals'], rateHz: 5000 }),
  ).toEqual({
    type: 'subscribe',
    id: 1,
    app: SITE,
    streams: ['joints'],
    rateHz: 120,
    velocities: true,
  });
  expect(through({ type: 'subscribe', hands: ['left'], rateHz: 60 })).toMatchObject({
    hands: ['left'],
    rateHz: 60,
  });
  expect(through({ type: 'ping', id: 2, timeUs: 5 })).toEqual({ type: 'ping', id: 2 });
  const long = permitted(JSON.stringify({ type: 'subscribe' }), `${'x'.repeat(60)}.example`);
  expect((JSON.parse(long!) as { app: string }).app).toHaveLength(40);
});

it('lets no other message through that the service knows', () => {
  for (const type of Object.keys(AppMessages)) {
    const passes = type === 'subscribe' || type === 'ping';
    expect([type, through({ type, id: 1, hand: 'right' }) !== undefined]).toEqual([type, passes]);
  }
});

it('lets nothing else through, whatever a page sends', () => {
  const keys = {
    subscribe: ['app', 'hands', 'id', 'rateHz', 'streams', 'type', 'velocities'],
    ping: ['id', 'type'],
  };
  const value = fc.oneof(
    fc.jsonValue(),
    fc.record(
      {
        type: fc.oneof(fc.constantFrom('subscribe', 'ping', 'touch', 'arm', '__proto__'), fc.string()),
        id: fc.jsonValue(),
        hands: fc.jsonValue(),
        rateHz: fc.jsonValue(),
        app: fc.jsonValue(),
      },
      { requiredKeys: [] },
    ),
  );
  fc.assert(
    fc.property(value, (message) => {
      const passed = through(message);
      if (passed === undefined) return;
      const type = passed.type as keyof typeof keys;
      expect(Object.keys(keys)).toContain(type);
      for (const key of Object.keys(passed)) expect(keys[type]).toContain(key);
      if (type === 'subscribe') expect(passed).toMatchObject({ app: SITE, streams: ['joints'] });
      expect(['undefined', 'number']).toContain(typeof passed.id);
    }),
  );
  fc.assert(
    fc.property(fc.string({ maxLength: 3000 }), (text) => {
      expect(permitted(text, SITE)).toBeUndefined();
    }),
  );
});
