import { FINGERS } from '../../hand/joints.js';
import { type ServoResult, STOP_AT, type TrialState } from '../servo-trial.js';

/** What the wearer is asked to do with a finger, by the phase of a trial. */
export const SERVO_PROMPT: Record<TrialState['phase'], (finger: string) => string> = {
  straighten: (finger) => `Straighten the ${finger}.`,
  closeFree: (finger) =>
    `The servo lets go. Close the ${finger}, slowly, as far as it goes, and keep it there.`,
  straightenAgain: (finger) => `Straighten the ${finger} again.`,
  keepStraight: (finger) => `Keep the ${finger} straight: the servo takes its place.`,
  closeHeld: (finger) => `Now close the ${finger} slowly until something stops it, and press on gently.`,
  payOut: (finger) => `Keep pressing: the servo lets the ${finger} go on.`,
  straightenAll: () => 'Nothing stopped it. Straighten all fingers: another may have its plug.',
  keepAllStraight: () => 'Keep all fingers straight: the servo takes its place.',
  closeOthers: (finger) => `Keep the ${finger} straight, and close all the others slowly, as far as they go.`,
  done: () => '',
};

const percent = (part: number): string => `${Math.round(part * 100)} %`;
const pace = (perS: number): string => `${perS.toFixed(1)} curl/s`;

/** What was found of a servo, with its figures beside what was asked, and what to do. */
const SAYS: Record<
  ServoResult,
  (state: TrialState, profilePerS: number | undefined, limit: string | undefined) => string
> = {
  moves: ({ heldCurl, outPerS }, profilePerS) =>
    `✓ Moves: stopped the finger at ${percent(heldCurl)} (asked: ${percent(STOP_AT)})${
      profilePerS === undefined
        ? '.'
        : Number.isNaN(outPerS)
          ? '; how fast was not seen, since the finger did not press on.'
          : `, and let it go on at ${pace(outPerS)} (profile: ${pace(profilePerS)}).`
    }`,
  tooSlow: ({ heldCurl, outPerS }, profilePerS = Number.NaN) =>
    `⚠ Too slow: stopped the finger at ${percent(heldCurl)} (asked: ${percent(STOP_AT)}), but let it go on at ${pace(outPerS)}; the profile says ${pace(profilePerS)}. Check its supply under load, and what rubs; or set speedCurlPerS: ${outPerS.toFixed(1)} in the profile.`,
  offPlace: ({ heldCurl }) =>
    `⚠ Moves, but stopped the finger at ${percent(heldCurl)} (asked: ${percent(STOP_AT)}). Try it again, slowly; if it stays so, fit the string stops: tautline fit --actuators.`,
  doesNotMove: ({ heldCurl }) =>
    `⚠ Does not move: the finger closed to ${percent(heldCurl)} (asked: ${percent(STOP_AT)}), and so did the others. Check its plug, its supply, its place in the profile, and that the string runs over its spool. If it turns, its stops are far off: tautline fit --actuators.`,
  wrongWay: ({ freeCurl, heldCurl }) =>
    `⚠ Wrong way: free, the finger closed to ${percent(freeCurl)}; against a stop at ${percent(STOP_AT)}, to ${percent(heldCurl)}. Exchange stopAtOpen and stopAtClosed of it in the profile, or turn its horn.`,
  wrongChannel: ({ heldCurl, instead }) =>
    `⚠ Wrong channel: its stop held the ${FINGERS[instead]}, while this finger closed to ${percent(heldCurl)}. The plugs of these two servos are exchanged: exchange them back.`,
  stuck: ({ freeCurl }) =>
    `⚠ The finger closed to no more than ${percent(freeCurl)}, even when free. Take the glove off, and look whether string or servo is jammed.`,
  letGo: (_, __, limit) =>
    `Not tried: the service let the finger go meanwhile${limit === undefined ? '' : ` (${limit.replace(/\.$/, '')})`}. Try it again.`,
  notTried: () => 'Not tried: the finger did not do what was asked.',
};

/**
 * @param profilePerS speed of the servo in the profile, curl/s
 * @param limit what the governor stepped in for last
 */
export const servoText = (state: TrialState, profilePerS: number | undefined, limit?: string): string =>
  state.result === undefined ? '' : SAYS[state.result](state, profilePerS, limit);
