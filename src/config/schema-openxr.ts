import { Type } from '@sinclair/typebox';
import { literals, number, section } from './schema-parts.js';

/** Which OpenXR applications the layer serves, and what their vibrations become. */

const programs = (description: string, options: object = {}) =>
  Type.Array(Type.String({ minLength: 1, maxLength: 100, pattern: '^[^/\\\\]*$' }), {
    description,
    maxItems: 64,
    uniqueItems: true,
    ...options,
  });

export const OpenxrSchema = section(
  {
    allow: Type.Optional(
      programs(
        'File names of the programs that are served, without their folder; `.exe` and capitals do not matter. Every program when absent.',
      ),
    ),
    deny: programs(
      'Programs that are not served, whatever `allow` says: they run as if there were no glove.',
      {
        default: [],
      },
    ),
    world: literals(
      ['local', 'stage'] as const,
      'In which space of OpenXR the layer says where hands are. local: from where the head was when the application began, or was recentred last. stage: from the middle of the play space, on the floor, whatever is recentred; local where the runtime has no stage.',
      { default: 'local' },
    ),
    graspHold: Type.Boolean({
      description:
        'Force from applications that only vibrate: when the hand closes and the application answers with a vibration, its fingers are stopped where they are, until the hand opens.',
      default: false,
    }),
    graspEffort: number('Part of the permitted maximum with which such a grasp is held.', {
      default: 0.8,
      exclusiveMinimum: 0,
      maximum: 1,
    }),
  },
  'OpenXR applications, which know nothing of gloves.',
);
