import type { Logger } from 'pino';
import { loadProfile } from '../config/load.js';
import type { GloveProfile, Profile } from '../config/schema.js';
import { TautlineError } from '../errors.js';
import { createGlove, type LiveGlove } from '../glove/glove.js';
import { prepareWornHand } from '../glove/hand-models.js';
import type { HandSide } from '../hand/joints.js';
import { codecOf } from '../link/codec-of.js';
import { openLink } from '../link/open-link.js';
import { packageFile } from '../package-files.js';
import type { ShownGlove } from './shown-glove.js';

const SIMULATED = packageFile('config/simulated.yaml');

/** What is shown in place of the gloves, and what it is made by. */
export interface StandIns {
  readonly live: readonly LiveGlove[];
  /** That of the service, with the simulated gloves in place of its own. */
  readonly profile: Profile;
}

/** A left hand has other buttons than a right one. */
const BUTTONS: Record<HandSide, GloveProfile['buttons']> = {
  left: { x: 0, y: 1, thumbstick: 2 },
  right: { a: 0, b: 1, thumbstick: 2 },
};

/**
 * Simulated gloves in place of those that are not there, one for each hand of the service: for whoever has none yet.
 * Their limits are those of the profile, and they start disarmed; the gloves behind them cannot be armed meanwhile.
 *
 * @returns starts and shows them, at once
 * @throws TautlineError notSupported where every glove is simulated already
 */
export async function prepareStandIns(
  shown: readonly ShownGlove[],
  profile: Profile,
  logger: Logger,
): Promise<() => StandIns> {
  if (profile.gloves.every(({ link }) => link.kind === 'simulated')) {
    throw new TautlineError('notSupported', 'The gloves of this service are simulated already.');
  }
  const [model] = (await loadProfile(SIMULATED)).gloves;
  for (const { live } of shown) await prepareWornHand(live.description.hand, profile.wearer);
  return () => {
    const gloves: GloveProfile[] = [];
    const live = shown.map((place) => {
      const { hand } = place.live.description;
      const glove: GloveProfile = { ...model, hand, buttons: BUTTONS[hand] };
      gloves.push(glove);
      const codec = codecOf(glove);
      const link = openLink(glove.link, { hand, codec });
      const standIn = createGlove({ profile: { ...profile, gloves: [glove] }, glove, link, codec, logger });
      standIn.start();
      place.show(standIn);
      return standIn;
    });
    return { live, profile: { ...profile, gloves } };
  };
}
