import { Type } from '@sinclair/typebox';
import { FINGERS } from '../hand/joints.js';
import { FINGER_STATES, type GESTURES } from './constants.js';
import { literals, record } from './message-parts.js';

/** What several of the service's messages are made of. */

export const microseconds = (description: string) => Type.Number({ description });
export const fingerStates = Type.Object(
  Object.fromEntries(
    FINGERS.map((finger) => [finger, literals(FINGER_STATES, 'State of the finger.')]),
  ) as Record<(typeof FINGERS)[number], ReturnType<typeof literals<(typeof FINGER_STATES)[number]>>>,
  {
    additionalProperties: false,
    description:
      'tracked: sensed; inferred: filled in, from the first reading that no finger makes until readings have been believable for 0.5 s; invalid: not known.',
  },
);
export const linkStatus = record(
  {
    state: literals(['closed', 'opening', 'live', 'lost', 'waiting'], 'State of the link.'),
    address: Type.String({ description: 'What the link goes to.' }),
    recorded: Type.Optional(
      Type.String({
        description:
          'Name of the session that is shown in place of the glove; absent while it is the glove itself. Nothing that is asked of a recording moves a finger.',
      }),
    ),
    simulated: Type.Optional(
      Type.Literal(true, {
        description: 'The glove is made up by the service: it moves by itself, and nobody wears it.',
      }),
    ),
    reason: Type.Optional(Type.String({ description: 'Why it is not live, and what to do.' })),
    code: Type.Optional(Type.String({ description: 'Code of the reason.' })),
  },
  'The path to the glove.',
);

export const GestureState = record(
  { active: Type.Boolean(), sinceUs: Type.Optional(microseconds('When.')) },
  '',
);
export const GESTURE_MEANING: Readonly<Record<(typeof GESTURES)[number], string>> = {
  pinch_ext: 'Thumb tip and index tip meet; not on the way from a fist to an open hand.',
  aim_activate_ext: 'The trigger finger is pulled, for what the hand aims at.',
  grasp_ext: 'Middle, ring and little finger close around something.',
  point: 'The index finger is open, the fingers behind it are closed.',
  fist: 'All fingers are closed, the thumb is with them.',
  flat: 'All fingers but the thumb are open.',
};
