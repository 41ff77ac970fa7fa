import type { Logger } from 'pino';
import type { FitStore, FitsInUse, SavedHand } from '../config/fit-file.js';
import type { GloveProfile, Profile } from '../config/schema.js';
import { createResting, type Resting } from '../contact/resting.js';
import { Touches } from '../contact/touches.js';
import { mergeFit, mergeStops } from '../guide/merge-fit.js';
import type { HandModel } from '../hand/hand-model.js';
import type { HandSide } from '../hand/joints.js';
import type { Skeleton } from '../hand/skeleton.js';
import type { Hello } from '../link/codec.js';
import type { CurlToTravel } from '../link/wire-stop.js';
import { logEvent } from '../log/events.js';
import {
  actuatorFinger,
  exertsForce,
  forcesOf,
  type GloveActuator,
  heedsEffort,
  orderAsHello,
} from '../resistance/actuators.js';
import { Resistance } from '../resistance/resistance.js';
import { TouchRequests } from '../resistance/touch-requests.js';
import { unusedOf } from '../resistance/unused.js';
import type { WearerFeel } from '../resistance/wearer-feel.js';
import { createGestures, type Gestures } from '../sensing/gestures.js';
import { createInputs, type Inputs } from '../sensing/inputs.js';
import { createSensing, type Sensing } from '../sensing/sensing.js';
import { handModel, prepareWornHand, wornHand } from './hand-models.js';
import { createNewestCurls, type NewestCurls } from './newest-curls.js';
import type { GloveDescription } from './view.js';
import { waysToArm } from './ways-to-arm.js';

/** Everything that depends on the glove's description and on the fits in use; remade, disarmed, when these change. */
export interface Chain {
  sensing: Sensing;
  /** Of the wearer's fit, or of the profile: part of the stick's travel. */
  stickDeadZone: number;
  newestCurls: NewestCurls;
  resistance: Resistance;
  actuators: readonly GloveActuator[];
  /** Per actuator. */
  travel: readonly (CurlToTravel | undefined)[];
  touches: Touches;
  resting: Resting;
  touchRequests: TouchRequests;
  inputs: Inputs;
  gestures: Gestures;
  skeleton: Skeleton;
  description: GloveDescription;
  fits: FitsInUse;
}

export interface ChainSources {
  profile: Profile;
  glove: GloveProfile;
  logger: Logger;
  /** Fits of this profile; undefined: the profile's own numbers apply. */
  fits?: FitStore;
}

/**
 * @param said undefined until the glove has described itself; until then the profile applies
 * @param recordedFits of a recording: in place of the saved ones
 */
export function makeChain(
  sources: ChainSources,
  said: Hello | undefined,
  recordedFits: FitsInUse | undefined,
): Chain {
  const { glove } = sources;
  const { safety, openxr } = sources.profile;
  const hand = said?.hand ?? glove.hand;
  const fits = recordedFits ?? sources.fits?.current(glove.name, hand) ?? {};
  const fitted = mergeStops(
    mergeFit({ ...glove, hand }, fits.channels?.channels ?? []),
    fits.actuators?.actuators ?? [],
  );
  const stickDeadZone = fits.channels?.stickDeadZone ?? fitted.controls.stickDeadZone;
  const { skeleton, closing, natural } = modelOf(sources, hand, fits.hand?.skeleton);
  const sensing = createSensing({
    glove: fitted,
    channelRoles: said?.channels.map((channel) => channel.role),
    closing,
    natural,
    sampleRateHz: said?.sampleRateHz,
  });
  const inputs = createInputs({ ...fitted, controls: { ...fitted.controls, stickDeadZone } });
  const actuators = said ? orderAsHello(fitted.actuators, said) : fitted.actuators;
  // A string with a sensor tells where the servo on it has to stop.
  const travel = actuators.map((actuator) => {
    const finger = actuatorFinger(actuator);
    return finger < 0 ? undefined : (curl: number) => sensing.stopFraction(finger, curl);
  });
  const feel = feelOf(fits);
  const unused = unusedOf(actuators, safety);
  return {
    sensing,
    stickDeadZone,
    newestCurls: createNewestCurls(sensing),
    resistance: new Resistance({
      safety,
      actuators,
      travel,
      ...(feel ? { wearer: feel } : {}),
      graspEffort: openxr.graspHold ? openxr.graspEffort : undefined,
    }),
    actuators,
    travel,
    touches: new Touches(skeleton, closing, safety, sensing.thumbGuide),
    resting: createResting(closing),
    touchRequests: new TouchRequests(forcesOf(actuators, safety), feel),
    inputs,
    gestures: createGestures(hand, inputs),
    skeleton,
    description: {
      hand,
      name: glove.name,
      sampleRateHz: said?.sampleRateHz ?? 0,
      ...(said ? { deviceId: said.deviceId, firmwareVersion: said.firmwareVersion } : {}),
      channels: (said?.channels ?? glove.channels).map(({ role, bits }) => {
        const inUse = sensing.channels.find((channel) => channel.role === role);
        return { role, bits, ...(inUse ? { open: inUse.open, closed: inUse.closed } : {}) };
      }),
      actuators: (said ?? glove).actuators.map(({ role, kind }, at) => {
        const [why, actuator] = [unused[at], actuators[at]];
        return {
          role,
          kind,
          ...(actuator && exertsForce(actuator) ? { heedsEffort: heedsEffort(actuator) } : {}),
          ...(actuator?.kind === 'stringStop' ? { speedCurlPerS: actuator.speedCurlPerS } : {}),
          ...(why ? { unused: why } : {}),
        };
      }),
      skeleton,
      inputPaths: inputs.paths,
      maxTensionN: safety.maxTensionN,
      ...(fits.mount?.mount ? { mount: fits.mount.mount.pose } : {}),
      ...(feel ? { feel } : {}),
      howToArm: waysToArm(glove),
    },
    fits,
  };
}

/** The wearer's own settings, without how they were found. */
function feelOf({ feel: fit }: FitsInUse): WearerFeel | undefined {
  if (!fit?.feel) return undefined;
  const { tried: _, chosen: __, ...feel } = fit.feel;
  return feel;
}

/** Prepares, between other work, what a chain with the present fits needs. */
export async function prepareChain({ profile, glove, fits }: ChainSources, hand: HandSide): Promise<void> {
  const fitted = fits?.current(glove.name, hand).hand?.skeleton;
  await prepareWornHand(hand, profile.wearer, fitted);
}

function modelOf(
  { profile, glove, logger }: ChainSources,
  hand: HandSide,
  fitted: SavedHand | undefined,
): HandModel {
  try {
    return handModel(wornHand(hand, profile.wearer, fitted));
  } catch (error) {
    // A file that somebody edited: a hand of the right size is better than none.
    logEvent(logger, 'fit.bonesRefused', { glove: glove.name, reason: String(error) });
    return handModel(wornHand(hand, profile.wearer));
  }
}

/** Whether a chain that was made for one hello also serves the other. */
export function sameGlove(a: Hello, b: Hello): boolean {
  return (
    a.hand === b.hand &&
    a.deviceId === b.deviceId &&
    a.firmwareVersion === b.firmwareVersion &&
    a.sampleRateHz === b.sampleRateHz &&
    JSON.stringify([a.channels, a.actuators]) === JSON.stringify([b.channels, b.actuators])
  );
}
