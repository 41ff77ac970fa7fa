import { type Static, Type } from '@sinclair/typebox';
import { literals, record } from './message-parts.js';

/** What says where a hand is, as apps, command line and page see it; and the one line that says so in words. */
export const WristReportSchema = record(
  {
    source: literals(
      ['app', 'glove', 'none'],
      "app: an app's tracker places the hand in the world. glove: its own sensor turns it. none: it is around its wrist.",
    ),
    app: Type.Optional(Type.String({ description: 'Which app.' })),
    of: Type.Optional(literals(['wrist', 'tracker'] as const, 'What its poses are of.')),
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
    note: Type.Optional(Type.String({ description: 'What is amiss, and what to do.' })),
  },
  'What says where the hand is.',
);
export type WristReport = Static<typeof WristReportSchema>;

/** Who places the hand, how old and how noisy that is: one line for people. What is amiss is in `note`. */
export function wristLine({
  source,
  app = '',
  of,
  ageMs = 0,
  jitterMm = 0,
  delayMs = 0,
  delayBy,
}: WristReport): string {
  if (source === 'none') return 'Around its wrist: nothing says where the hand is.';
  if (source === 'glove') return 'Around its wrist, turned by the sensor of the glove.';
  const parts = [
    `${ageMs.toFixed(0)} ms old`,
    `noise ${jitterMm.toFixed(1)} mm`,
    ...(delayBy === 'motion' ? [`${delayMs.toFixed(0)} ms late, taken out`] : []),
  ];
  // What an app calls itself may not steer a terminal.
  const name = app.replace(/\p{C}/gu, '?') || 'an app';
  return `Placed by ${name}${of === 'tracker' ? ', by a tracker on the glove' : ''}: ${parts.join(', ')}.`;
}
