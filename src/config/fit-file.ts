import { readFileSync, renameSync, statSync, writeFileSync } from 'node:fs';
import { type Static, Type } from '@sinclair/typebox';
import { TautlineError } from '../errors.js';
import { FINGERS, type Finger, HAND_SIDES } from '../hand/joints.js';
import type { HandPlacement } from '../hand/placement.js';
import { CHANNEL_ROLE, type ChannelRole } from '../protocol/link-table.js';
import { schemaCheck, schemaCompiler } from './schema-check.js';

/**
 * Fits live beside the profile, in `my-glove.fits.json` for `my-glove.yaml`: every fit of every wearer with its
 * date and residuals, newest last. Nothing is overwritten: an undone fit stays, marked. The profile itself is
 * never changed.
 */

const roles = Object.keys(CHANNEL_ROLE) as ChannelRole[];
const number = Type.Number();
const closed = { additionalProperties: false } as const;

const ChannelFitSchema = Type.Object(
  {
    role: Type.Unsafe<ChannelRole>({ type: 'string', enum: roles }),
    bits: Type.Integer({ minimum: 6, maximum: 16 }),
    open: number,
    closed: number,
    centre: Type.Optional(number),
    curve: Type.Optional(Type.Array(Type.Tuple([number, number]), { maxItems: 16 })),
    residualDeg: Type.Number({ minimum: 0 }),
    poses: Type.Integer({ minimum: 0 }),
  },
  closed,
);

const bones = Type.Array(Type.Number({ exclusiveMinimum: 0, maximum: 0.3 }), { minItems: 3, maxItems: 4 });

const HandFitSchema = Type.Object(
  {
    lengthM: Type.Number({ minimum: 0.08, maximum: 0.3 }),
    breadthM: Type.Number({ minimum: 0.03, maximum: 0.16 }),
    boneLengthsM: Type.Object(
      { thumb: bones, index: bones, middle: bones, ring: bones, little: bones },
      closed,
    ),
    // As skeletonOptions() gives it; createSkeleton checks it.
    placement: Type.Object({}, { additionalProperties: true }),
    /** Root mean square distance between the joints given and the hand fitted. */
    rmsM: Type.Number({ minimum: 0 }),
    frames: Type.Integer({ minimum: 1 }),
  },
  closed,
);

const StopFitSchema = Type.Object(
  {
    role: Type.Unsafe<Finger>({ type: 'string', enum: [...FINGERS] }),
    // Beyond 0..1 where the wire does not reach that far.
    stopAtOpen: Type.Number({ minimum: -2, maximum: 3 }),
    stopAtClosed: Type.Number({ minimum: -2, maximum: 3 }),
    /** Distance of the points from the line, rms, curl. */
    residual: Type.Number({ minimum: 0 }),
    points: Type.Integer({ minimum: 0 }),
  },
  closed,
);

const MountFitSchema = Type.Object(
  {
    /** Of the wrist in the frame of the tracker: [x, y, z, qx, qy, qz, qw]. */
    pose: Type.Array(Type.Number({ minimum: -1.01, maximum: 1.01 }), { minItems: 7, maxItems: 7 }),
    by: Type.Unsafe<'touch' | 'motion'>({ type: 'string', enum: ['touch', 'motion'] }),
    /** One standard deviation. */
    rotationDeg: Type.Number({ minimum: 0 }),
    translationM: Type.Number({ minimum: 0 }),
    residualM: Type.Number({ minimum: 0 }),
  },
  closed,
);

const part = Type.Number({ minimum: 0, maximum: 1 });
const FeelSchema = Type.Object(
  {
    /** What was tried last; the others were kept from before. */
    tried: Type.String({ maxLength: 40 }),
    /** Rounds in which each of the two was chosen: the one that is kept, and the other. */
    chosen: Type.Tuple([Type.Integer({ minimum: 0 }), Type.Integer({ minimum: 0 })]),
    // As WearerFeel of src/resistance/wearer-feel.ts.
    effort: Type.Optional(part),
    stiffnessNPerM: Type.Optional(Type.Number({ exclusiveMinimum: 0 })),
    texture: Type.Optional(part),
    knock: Type.Optional(part),
    slack: Type.Optional(Type.Number({ minimum: 0, maximum: 0.5 })),
  },
  closed,
);

export const SavedFitSchema = Type.Object(
  {
    /** When, ISO 8601, UTC; tells those of a glove apart. */
    savedAt: Type.String({ maxLength: 40 }),
    person: Type.String({ minLength: 1, maxLength: 40 }),
    /** Name of the glove in the profile. */
    glove: Type.String({ maxLength: 40 }),
    hand: Type.Unsafe<(typeof HAND_SIDES)[number]>({ type: 'string', enum: [...HAND_SIDES] }),
    undone: Type.Optional(Type.Boolean()),
    /** What the sensors read; or */
    channels: Type.Optional(Type.Array(ChannelFitSchema, { maxItems: 32 })),
    residualDeg: Type.Optional(Type.Number({ minimum: 0 })),
    /** Learned from ordinary motion: residuals are what it may be wrong by. */
    fromUse: Type.Optional(Type.Boolean()),
    /** In place of the profile's: part of the stick's travel. */
    stickDeadZone: Type.Optional(Type.Number({ minimum: 0, maximum: 0.9 })),
    /** where the string stops hold; or */
    actuators: Type.Optional(Type.Array(StopFitSchema, { maxItems: 5 })),
    /** how long the bones are; or */
    skeleton: Type.Optional(HandFitSchema),
    /** how a tracker sits on the hand; */
    mount: Type.Optional(MountFitSchema),
    /** or how forces are to feel. */
    feel: Type.Optional(FeelSchema),
  },
  closed,
);

const FitFileSchema = Type.Object(
  { fits: Type.Literal(1), entries: Type.Array(SavedFitSchema, { maxItems: 10_000 }) },
  closed,
);

export type SavedFit = Static<typeof SavedFitSchema>;
export type FitKind = 'sensors' | 'actuators' | 'bones' | 'mount' | 'feel';
export const kindOfFit = ({ feel, skeleton, mount, actuators }: SavedFit): FitKind => {
  if (feel) return 'feel';
  if (skeleton) return 'bones';
  if (mount) return 'mount';
  return actuators ? 'actuators' : 'sensors';
};
/** The fits that count for a glove, at most one of each kind. */
export interface FitsInUse {
  channels?: SavedFit;
  actuators?: SavedFit;
  hand?: SavedFit;
  mount?: SavedFit;
  feel?: SavedFit;
}
export type SavedHand = Static<typeof HandFitSchema>;

/** What a skeleton is built from; createSkeleton checks the numbers. */
export const asSkeletonOptions = (hand: SavedHand) => ({
  lengthM: hand.lengthM,
  breadthM: hand.breadthM,
  boneLengthsM: hand.boneLengthsM,
  placement: hand.placement as Partial<HandPlacement>,
});

const checkOfFile = schemaCheck(schemaCompiler({ allErrors: false }), FitFileSchema);
const MOST_BYTES = 8 * 1024 * 1024;
/** Entries kept; older ones go. */
const KEPT = 500;

/** Fits of one profile: in its file, or in memory for a profile that has no file. */
export interface FitStore {
  /** Who wears the gloves; undefined: whoever was fitted last. */
  person: string | undefined;
  readonly entries: readonly SavedFit[];
  /** What counts for a glove now: the newest fit of its sensors, stops, mount, and of the hand in it, that is not undone. */
  current(glove: string, hand: string): FitsInUse;
  /** @throws TautlineError fileDenied, diskFull */
  add(fit: SavedFit): void;
  /**
   * Marks a fit as undone: the newest of the present wearer, or that which was kept at `savedAt`, whoever it is of.
   *
   * @returns it, or undefined when there is none
   */
  undo(glove: string, hand: string, savedAt?: string): SavedFit | undefined;
}

/** `my-glove.fits.json` for `my-glove.yaml`. */
export const fitFileOf = (profileFile: string): string =>
  `${profileFile.replace(/\.(ya?ml|json)$/i, '')}.fits.json`;

/**
 * @param file where the fits are; undefined: in memory
 * @throws TautlineError fileInvalid, fileDenied
 */
export function openFits(file: string | undefined, person?: string): FitStore {
  let entries = file === undefined ? [] : read(file);
  const live = (glove: string, hand: string) =>
    entries.filter((fit) => fit.glove === glove && fit.hand === hand && !fit.undone);
  const save = (next: SavedFit[]) => {
    const kept = next.slice(-KEPT);
    if (file !== undefined) write(file, kept);
    entries = kept;
  };
  const store: FitStore = {
    person,
    get entries() {
      return entries;
    },
    current(glove, hand) {
      const all = live(glove, hand);
      const who = store.person ?? all.at(-1)?.person;
      const own = all.filter((fit) => fit.person === who);
      // A hand's bones are the same in either glove.
      const hands = entries.filter((fit) => fit.person === who && !fit.undone && fit.skeleton);
      return {
        channels: own.findLast((fit) => fit.channels),
        actuators: own.findLast((fit) => fit.actuators),
        hand: own.findLast((fit) => fit.skeleton) ?? hands.at(-1),
        mount: own.findLast((fit) => fit.mount),
        feel: own.findLast((fit) => fit.feel),
      };
    },
    add(fit) {
      save([...entries, fit]);
      store.person = fit.person;
    },
    undo(glove, hand, savedAt) {
      const all = live(glove, hand);
      const who = store.person ?? all.at(-1)?.person;
      const last = all.findLast((fit) =>
        savedAt === undefined ? fit.person === who : fit.savedAt === savedAt,
      );
      if (!last) return undefined;
      const undone = { ...last, undone: true };
      save(entries.map((fit) => (fit === last ? undone : fit)));
      return undone;
    },
  };
  return store;
}

function read(file: string): SavedFit[] {
  let text: string;
  try {
    if (statSync(file).size > MOST_BYTES) throw invalid(file, 'it is too large');
    text = readFileSync(file, 'utf8');
  } catch (error) {
    if (error instanceof TautlineError) throw error;
    const { code } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT') return [];
    throw new TautlineError('fileDenied', `${file}: it cannot be read (${code}).`, 'Check its permissions.');
  }
  let data: unknown;
  try {
    data = JSON.parse(text);
  } catch {
    throw invalid(file, 'it is not JSON');
  }
  const check = checkOfFile();
  if (check(data)) return data.entries;
  const [error] = check.errors ?? [];
  throw invalid(file, `${error?.instancePath || 'the file'} ${error?.message ?? 'is not as it should be'}`);
}

const invalid = (file: string, why: string) =>
  new TautlineError('fileInvalid', `${file}: ${why}.`, 'Move it away and fit again, or restore a copy.');

/** Written beside it and put in its place: a crash leaves the old file or the new one. */
function write(file: string, entries: readonly SavedFit[]): void {
  try {
    const fresh = `${file}.new`;
    writeFileSync(fresh, `${JSON.stringify({ fits: 1, entries }, null, 1)}\n`);
    renameSync(fresh, file);
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    throw code === 'ENOSPC'
      ? new TautlineError('diskFull', `${file}: the disk is full.`, 'The fit is not saved: make room.')
      : new TautlineError(
          'fileDenied',
          `${file}: it cannot be written (${code}).`,
          'The fit is not saved: check the permissions of its folder.',
        );
  }
}
