import { describe, expect, it } from 'vitest';
import { isSoundBody, prepareChecksSteps } from '../../src/recording/body-checks.js';
import { atOnce } from '../../src/steps.js';

const asked = (request: unknown) => ({ timeUs: 1, app: 'clay studio', request });

describe('a message of a session', () => {
  it('is what its schema says', () => {
    expect(isSoundBody('mark', { timeUs: 1, text: 'grip' })).toBe(true);
    expect(isSoundBody('mark', { timeUs: 'one', text: 'grip' })).toBe(false);
    expect(isSoundBody('mark', [])).toBe(false);
    expect(isSoundBody('mark', null)).toBe(false);
  });

  it('holds a request as the stream takes it, of a kind that is recorded', () => {
    const disarm = { type: 'disarm', hand: 'right' };
    expect(isSoundBody('request', asked(disarm))).toBe(true);
    expect(isSoundBody('request', { request: disarm })).toBe(false);
    expect(isSoundBody('request', asked({ type: 'resist', hand: 'right', targets: 'all' }))).toBe(false);
    expect(isSoundBody('request', asked({ type: 'ping' }))).toBe(false);
    for (const none of [undefined, null, 7, 'disarm', {}]) {
      expect(isSoundBody('request', asked(none))).toBe(false);
    }
  });

  it('is checked by what was made ready in steps', () => {
    atOnce(prepareChecksSteps());
    expect(isSoundBody('request', asked({ type: 'disarm', hand: 'right' }))).toBe(true);
  });
});
