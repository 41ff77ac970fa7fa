import type { GloveProfile } from '../config/schema.js';
import type { GloveGuide } from '../guide/guide.js';
import { RECORDED, type Refusal } from '../protocol/refusals.js';
import type { WhoArms } from '../resistance/governor.js';
import { createArmSigns } from '../sensing/arm-signs.js';
import type { Sensing } from '../sensing/sensing.js';
import { createStretchedHand } from '../sensing/stretched-hand.js';
import type { GloveForces } from './forces.js';
import { waysToArm } from './ways-to-arm.js';

/**
 * Who may permit forces on one glove, and when. Arming belongs to the wearer; an app that the profile trusts may do
 * it in the wearer's place, until the wearer has disarmed or the link was lost: from then on only the wearer's own
 * ways count, until one of them has armed again.
 *
 *   page, command line, long press, fists ──┐
 *   an app with the permission ── latch ────┴─> recording? connected? guided run? ──> governor's own latch
 */
export interface GloveArming {
  /** @returns why not */
  arm(by: string, who: WhoArms): Refusal | undefined;
  disarm(by: string, who: WhoArms): void;
  /**
   * From here on only the wearer arms, as after a disarm by the wearer. For a lost link (a wearer who pulled the plug
   * to get free must not be held by an app when it is back), and for another glove or fit.
   */
  keepForWearer(): void;
  /** Looks for gestures of the wearer in one sample. */
  sample(sensing: Sensing, timeUs: number): void;
}

export interface GloveArmingSources {
  glove: GloveProfile;
  forces: Pick<GloveForces, 'armed' | 'connected' | 'arm' | 'disarm'>;
  guide: () => GloveGuide;
  /** The trial of how forces feel, which only the wearer arms. */
  feel: () => { refusesArming(who: WhoArms): Refusal | undefined };
  /** A recording is shown in the glove's place, or this is a recording itself. */
  replayed: () => boolean;
  /** Armed or disarmed by a gesture or button of the glove. */
  signed(what: 'armed' | 'disarmed', by: string): void;
}

const NOT_CONNECTED: Refusal = {
  code: 'notSupported',
  message: 'The glove is not connected: connect it, then arm.',
};
const NOT_YET: Refusal = {
  code: 'disarmed',
  message: 'The glove stays disarmed: it was disarmed a moment ago, or is closing. Arm it again.',
};

const bitOf = (bit: number | undefined): number => (bit === undefined ? 0 : 1 << bit);

export function createGloveArming(sources: GloveArmingSources): GloveArming {
  const { glove, forces, guide, feel, replayed, signed } = sources;
  const { buttons, controls } = glove;
  const disarmMask = bitOf(buttons.disarm);
  const stretchedHand = createStretchedHand(controls.disarmStretchS);
  const signs = createArmSigns({
    buttonMask: bitOf(buttons.arm),
    pressS: controls.armPressS,
    fists: controls.armFists,
  });
  /** The wearer let go: no app takes hold again by itself. */
  let wearerOnly = false;

  function arm(by: string, who: WhoArms): Refusal | undefined {
    if (replayed()) return RECORDED;
    if (!forces.connected()) return NOT_CONNECTED;
    const refusal = guide().refusesArming(who) ?? feel().refusesArming(who);
    if (refusal) return refusal;
    if (who === 'app' && wearerOnly) {
      return {
        code: 'disarmed',
        message: `The wearer disarmed, or the link was lost: only the wearer arms again. To arm: ${waysToArm(glove)}.`,
      };
    }
    if (!forces.arm(by)) return NOT_YET;
    if (who === 'wearer') wearerOnly = false;
    return undefined;
  }

  function disarm(by: string, who: WhoArms): void {
    if (who === 'wearer') wearerOnly = true;
    forces.disarm(by);
  }

  function disarmBySign(by: string): void {
    disarm(by, 'wearer');
    signed('disarmed', by);
  }

  return {
    arm,
    disarm,
    keepForWearer() {
      wearerOnly = true;
    },
    sample({ buttons: pressed, curl, fingerStates }, timeUs) {
      const stretched = stretchedHand.update(curl, fingerStates, timeUs);
      const armed = forces.armed();
      if (armed && (pressed & disarmMask) !== 0) disarmBySign('glove button');
      else if (armed && stretched) disarmBySign('stretched hand');
      // Pressing "disarm" counts, whatever else the hand does.
      if ((pressed & disarmMask) !== 0) wearerOnly = true;
      if (!signs.update(pressed, curl, fingerStates, armed, timeUs) || (pressed & disarmMask) !== 0) return;
      if (!arm('a sign of the glove', 'wearer')) signed('armed', 'a sign of the glove');
    },
  };
}
