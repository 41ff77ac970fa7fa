import { type FitKind, kindOfFit, type SavedFit } from '../config/fit-file.js';
import { TautlineError } from '../errors.js';
import type { LiveGlove } from './glove.js';
import { storeOf } from './guide-requests.js';

/** What GET /fits and the like answer. */
export interface FitsAnswer {
  hand: string;
  glove: string;
  /** Whose fit is in use. */
  person?: string;
  /** Of this glove, oldest first; without the bone lengths. */
  fits: (Omit<SavedFit, 'skeleton' | 'channels' | 'actuators' | 'mount'> & {
    kind: FitKind;
    channels?: number;
    actuators?: number;
    rmsMm?: number;
    /** Of a mount: one standard deviation. */
    rotationDeg?: number;
    translationMm?: number;
    inUse: boolean;
  })[];
  /** POST /fits/hand: the remaining distance between the given joints and the hand, mm. */
  rmsMm?: number;
}

export function fitsOf(glove: LiveGlove): FitsAnswer {
  const { hand, name } = glove.description;
  const store = storeOf(glove);
  const current = store.current(name, hand);
  const person =
    store.person ?? current.channels?.person ?? current.actuators?.person ?? current.hand?.person;
  const inUse = new Set(Object.values(current));
  return {
    hand,
    glove: name,
    ...(person === undefined ? {} : { person }),
    fits: store.entries
      .filter((fit) => fit.glove === name && fit.hand === hand)
      .map((fit) => {
        const { skeleton, channels, actuators, mount, ...rest } = fit;
        return {
          ...rest,
          kind: kindOfFit(fit),
          ...(channels ? { channels: channels.length } : {}),
          ...(actuators ? { actuators: actuators.length } : {}),
          ...(skeleton ? { rmsMm: skeleton.rmsM * 1000 } : {}),
          ...(mount ? { rotationDeg: mount.rotationDeg, translationMm: mount.translationM * 1000 } : {}),
          inUse: inUse.has(fit),
        };
      }),
  };
}

/**
 * Takes a fit back: the newest of the present wearer; or that which was kept at `savedAt`, whatever was kept since then.
 *
 * @throws TautlineError notSupported where there is none, or where a newer one of its kind stands on it
 */
export async function undoFit(glove: LiveGlove, savedAt: string | undefined): Promise<void> {
  const { hand, name } = glove.description;
  const store = storeOf(glove);
  if (savedAt !== undefined) mustStandAlone(glove, savedAt);
  const undone = store.undo(name, hand, savedAt);
  if (!undone) throw new TautlineError('notSupported', `There is no fit of the ${hand} glove to undo.`);
  forgetKept(glove, undone.savedAt);
  await glove.refit();
}

/** What was found is in use no longer, and can be kept again. */
function forgetKept({ feel, guide }: LiveGlove, savedAt: string): void {
  for (const found of [feel.found, guide.fit, guide.stops, guide.mount]) {
    if (found?.keptAt !== savedAt) continue;
    found.accepted = false;
    delete found.keptAt;
  }
  const { mount } = guide;
  if (mount?.sensorsKeptAt !== savedAt) return;
  mount.sensorsAccepted = false;
  delete mount.sensorsKeptAt;
}

function mustStandAlone(glove: LiveGlove, savedAt: string): void {
  const { hand, name } = glove.description;
  const own = storeOf(glove).entries.filter((fit) => fit.glove === name && fit.hand === hand);
  const at = own.findIndex((fit) => fit.savedAt === savedAt);
  if (at < 0) {
    throw new TautlineError('notSupported', `No fit of the ${hand} glove was kept at ${savedAt}.`);
  }
  const { undone, person } = own[at];
  if (undone) throw new TautlineError('notSupported', 'That was taken back already: nothing was changed.');
  const kind = kindOfFit(own[at]);
  const newer = own
    .slice(at + 1)
    .findLast((fit) => !fit.undone && fit.person === person && kindOfFit(fit) === kind);
  if (newer) {
    throw new TautlineError(
      'notSupported',
      `Since then ${WHAT[kind]} of ${person} was kept again, at ${newer.savedAt}: take that back first.`,
    );
  }
}

const WHAT: Record<FitKind, string> = {
  sensors: 'a fit of the sensors',
  actuators: 'a fit of the string stops',
  bones: 'a fit of the bones',
  mount: 'the mount of the tracker',
  feel: 'the feel',
};
