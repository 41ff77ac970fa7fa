import { describe, expect, it } from 'vitest';
import { parseProfile } from '../../src/config/load.js';
import { createGloveArming } from '../../src/glove/arming.js';
import { waysToArm } from '../../src/glove/ways-to-arm.js';
import type { GloveGuide } from '../../src/guide/guide.js';
import { FINGERS } from '../../src/hand/joints.js';
import { TRACKED } from '../../src/hand/validity.js';
import type { Refusal } from '../../src/protocol/refusals.js';
import type { Sensing } from '../../src/sensing/sensing.js';

const [DISARM, ARM] = [0, 4];

function setUp(more = '') {
  const profile = parseProfile(
    `profile: 1
gloves:
  - name: g
    hand: right
    link: { kind: simulated }
    channels: []
    buttons: { disarm: ${DISARM}, arm: ${ARM} }
${more}`,
    'one.yaml',
  );
  const state = {
    armed: false,
    connected: true,
    ready: true,
    replayed: false,
    busy: undefined as Refusal | undefined,
    signed: [] as string[],
  };
  const arming = createGloveArming({
    glove: profile.gloves[0],
    feel: () => ({ refusesArming: () => undefined }),
    forces: {
      armed: () => state.armed,
      connected: () => state.connected,
      arm() {
        if (state.ready) state.armed = true;
        return state.ready;
      },
      disarm() {
        state.armed = false;
      },
    },
    guide: () => ({ refusesArming: () => state.busy }) as unknown as GloveGuide,
    replayed: () => state.replayed,
    signed: (what) => state.signed.push(what),
  });
  let timeUs = 0;
  const press = (bits: number, ms: number) => {
    const sensing = {
      buttons: bits,
      curl: new Float64Array(FINGERS.length).fill(0.4),
      fingerStates: new Uint8Array(FINGERS.length).fill(TRACKED),
    } as unknown as Sensing;
    for (let t = 0; t < ms; t += 4, timeUs += 4000) arming.sample(sensing, timeUs);
  };
  return { arming, state, press, glove: profile.gloves[0] };
}

describe('an app that the profile trusts', () => {
  it('arms, and takes its own disarm back', () => {
    const { arming, state } = setUp();
    expect(arming.arm('game', 'app')).toBeUndefined();
    arming.disarm('game', 'app');
    expect(state.armed).toBe(false);
    expect(arming.arm('game', 'app')).toBeUndefined();
    expect(state.armed).toBe(true);
  });

  it.each<[string, (one: ReturnType<typeof setUp>) => void]>([
    ['the wearer disarmed', ({ arming }) => arming.disarm('http', 'wearer')],
    ['the glove button was pressed', ({ press }) => press(1 << DISARM, 20)],
    ['the link was lost', ({ arming }) => arming.keepForWearer()],
  ])('does not arm after %s, until the wearer has', (_, lets) => {
    for (const armedBefore of [true, false]) {
      const one = setUp();
      const { arming, state } = one;
      if (armedBefore) arming.arm('game', 'app');
      lets(one);
      state.armed = false;
      expect(arming.arm('game', 'app')).toMatchObject({
        code: 'disarmed',
        message: expect.stringMatching(/only the wearer arms again.*hold the glove's arm button for 1\.5 s/),
      });
      // Nor does its own disarm, or a refused attempt of the wearer, open the way.
      arming.disarm('game', 'app');
      state.connected = false;
      expect(arming.arm('page', 'wearer')).toBeDefined();
      state.connected = true;
      expect(arming.arm('game', 'app')).toBeDefined();
      expect(state.armed).toBe(false);
      expect(arming.arm('page', 'wearer')).toBeUndefined();
      expect(arming.arm('game', 'app')).toBeUndefined();
    }
  });
});

describe('the wearer', () => {
  it('arms by a long press of the button that the profile names', () => {
    const { state, press } = setUp();
    press(0, 20);
    press(1 << ARM, 1400);
    expect(state.armed).toBe(false);
    press(1 << ARM, 200);
    expect(state).toMatchObject({ armed: true, signed: ['armed'] });
    press((1 << ARM) | (1 << DISARM), 3000);
    expect(state).toMatchObject({ armed: false, signed: ['armed', 'disarmed'] });
  });

  it.each<[string, Partial<ReturnType<typeof setUp>['state']>, RegExp]>([
    ['a recording is shown', { replayed: true }, /recording/],
    ['no glove is connected', { connected: false }, /not connected/],
    ['a check is under way', { busy: { code: 'notSupported', message: 'A check.' } }, /A check/],
    ['it was disarmed a moment ago', { ready: false }, /a moment ago/],
  ])('cannot arm while %s, by no way', (_, is, says) => {
    const { arming, state, press } = setUp();
    Object.assign(state, is);
    expect(arming.arm('page', 'wearer')?.message).toMatch(says);
    press(0, 20);
    press(1 << ARM, 2000);
    expect(state.armed).toBe(false);
    expect(state.signed).toEqual([]);
  });

  it('is told every way that the glove has', () => {
    expect(waysToArm(setUp('    controls: { armFists: 4, armPressS: 2 }').glove)).toBe(
      'hold "Hold to arm" on the page of the service, run `tautline arm`, ' +
        "hold the glove's arm button for 2 s, or make 4 fists in quick succession, then open the hand",
    );
  });
});
