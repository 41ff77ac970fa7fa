import { expect, it } from 'vitest';
import { createRestPace, REST_HZ } from '../../src/page/rest-pace.js';

it('asks for less of a hand that rests while it is glanced at, and for all while something is measured', () => {
  const asked: object[] = [];
  const client = { adjust: (changes: object) => asked.push(changes) };
  const pace = createRestPace({ client } as unknown as Parameters<typeof createRestPace>[0]);
  pace.glance(true);
  pace.glance(false);
  expect(asked).toEqual([{ restHz: REST_HZ }, { restHz: undefined }]);
});
