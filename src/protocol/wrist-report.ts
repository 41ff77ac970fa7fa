import { type Static, Type } from '@sinclair/typebox';
import { HandSchema, literals, record } from './message-parts.js';

/** What the world is, by the words of OpenXR and WebXR. */
export const WORLDS = ['local', 'localFloor', 'stage'] as const;
export type World = (typeof WORLDS)[number];

/** What says where a hand is, as apps, command line and page see it; and the one line that says so in words. */
export const WristReportSchema = record(
  {
    source: literals(
      ['app', 'glove', 'none'],
      "app: an app's tracker places the hand in the world. glove: its own sensor turns it. none: it is around its wrist.",
    ),
    app: Type.Optional(Type.String({ description: 'Which app.' })),
    of: Type.Optional(literals(['wrist', 'tracker'] as const, 'What its poses are of.')),
    world: Type.Optional(
      literals(WORLDS, 'Which space of OpenXR that app means by the world; absent: it does not say.'),
    ),
    ageMs: Type.Optional(Type.Number({ description: 'Since its newest pose came.' })),
    jitterMm: Type.Optional(Type.Number({ description: 'Noise of its positions, rms.' })),
    delayMs: Type.Optional(
      Type.Number({ description: 'How much later than the glove it shows a motion, as taken out.' }),
    ),
    delayBy: Type.Optional(
      literals(
        ['motion', 'stated'],
        "motion: seen in the motion itself, against the glove's orientation sensor. stated: as the app says.",
      ),
    ),
    forearmMm: Type.Optional(
      Type.Number({
        description:
          'glove: the wrist moves at the end of a forearm so long, about an elbow that stays put (`forearmMm` of the profile). The space is still `wrist`.',
      }),
    ),
    overlap: Type.Optional(
      record(
        {
          hand: HandSchema,
          depthMm: Type.Number({ description: 'How deep.' }),
          at: Type.String({ description: 'The bone of this hand, by the joint that it begins at.' }),
          into: Type.String({ description: 'The bone of the other hand.' }),
        },
        'This hand reaches into another one that is in the world, as skins go, which no two hands do by much. Looked at five times a second; nothing is done about it.',
      ),
    ),
    note: Type.Optional(Type.String({ description: 'What is amiss, and what to do.' })),
  },
  'What says where the hand is.',
);
export type WristReport = Static<typeof WristReportSchema>;

const WORLD_WORDS: Record<World, string> = {
  local: 'in local space',
  localFloor: 'in local space on the floor',
  stage: 'in stage space',
};

/** Who places the hand, how old and how noisy that is: one line for people. What is amiss: wristNotes. */
export function wristLine({
  source,
  app = '',
  of,
  world,
  ageMs = 0,
  jitterMm = 0,
  delayMs = 0,
  delayBy,
  forearmMm,
}: WristReport): string {
  if (source === 'none')
    return 'Shown in one place: no tracker, app or motion sensor says where the hand is.';
  if (source === 'glove' && forearmMm !== undefined) {
    return `Around a still elbow, on a forearm of ${forearmMm.toFixed(0)} mm that the sensor of the glove turns.`;
  }
  if (source === 'glove') return 'Shown in one place, turned by the sensor of the glove.';
  const parts = [
    `${ageMs.toFixed(0)} ms old`,
    `noise ${jitterMm.toFixed(1)} mm`,
    ...(delayBy === 'motion' ? [`${delayMs.toFixed(0)} ms late, taken out`] : []),
    ...(world ? [WORLD_WORDS[world]] : []),
  ];
  // What an app calls itself may not steer a terminal.
  const name = app.replace(/\p{C}/gu, '?') || 'an app';
  return `Placed by ${name}${of === 'tracker' ? ', by a tracker on the glove' : ''}: ${parts.join(', ')}.`;
}

/** What is amiss with the place of the hand, a line each, free of characters that steer a terminal. */
export function wristNotes({ note, overlap }: WristReport): string[] {
  const notes = note === undefined ? [] : [note.replace(/\p{C}/gu, '?')];
  if (overlap) {
    const { hand, depthMm, at, into } = overlap;
    notes.push(
      `It reaches ${depthMm.toFixed(0)} mm into the ${hand} hand (${at} into ${into}): if they do not touch, fit the trackers with \`tautline fit --mount\`.`,
    );
  }
  return notes;
}
