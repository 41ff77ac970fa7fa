import { Type } from '@sinclair/typebox';
import { HandSchema, id, literals, message, record } from './message-parts.js';

/** What fingers of a hand an OpenXR application is shown. */
export const OPENXR_FINGERS = ['glove', 'runtime', 'nobody', 'unasked'] as const;
/** What says where its wrist is. */
export const OPENXR_WRISTS = ['controller', 'camera', 'nobody'] as const;

const name = (description: string, maxLength = 256) => Type.String({ maxLength, description });

export const OpenxrMessage = message(
  'openxr',
  {
    id,
    program: name('File name of the program; what `openxr.allow` and `openxr.deny` of the profile list.'),
    app: Type.Optional(name('Name that the application gives itself.')),
    layer: Type.Optional(name('Version of the layer.', 40)),
    pid: Type.Optional(Type.Integer({ minimum: 0, description: 'Process of the application.' })),
    runtime: Type.Optional(name('Name of the runtime; absent until there is an instance.')),
    runtimeVersion: Type.Optional(name('Its version.', 40)),
    focused: Type.Optional(
      Type.Boolean({ description: 'Its session has the focus; without it, it gets no hands and no inputs.' }),
    ),
    hands: Type.Optional(
      Type.Array(
        record(
          {
            hand: HandSchema,
            fingers: literals(
              OPENXR_FINGERS,
              'Whose fingers it is shown. `nobody`: it asks for the hand, and there is none; `unasked`: it does not ask.',
            ),
            wrist: Type.Optional(literals(OPENXR_WRISTS, 'What says where the wrist is.')),
            inputs: Type.Boolean({
              description: "The glove's trigger, grip and buttons are in its actions.",
            }),
            ageUs: Type.Optional(
              Type.Number({
                minimum: 0,
                description: 'Age of the newest sample when it was asked for, µs; median of late.',
              }),
            ),
          },
          'A hand.',
        ),
        { maxItems: 2 },
      ),
    ),
  },
  'For the OpenXR layer, which speaks for an application that knows nothing of gloves: who it is, and what serves its hands. Sent first, and again on change, once a second at most. Refused when the profile denies the program.',
);
