import { Type } from '@sinclair/typebox';
import { integer, literals, object, section } from './schema-parts.js';

/** What apps connect to, and what they may do. */

/** What an app may be permitted, beyond what every app may: see the hand, and let go. */
export const APP_PERMISSIONS = ['resist', 'record', 'arm', 'guide'] as const;
export type AppPermission = (typeof APP_PERMISSIONS)[number];
/** What may be permitted to any app. Arming takes a name and a token. */
export const ANY_APP_PERMISSIONS = ['resist', 'record', 'guide'] as const satisfies readonly AppPermission[];

/** What a token is, in the profile or in a file of its own. */
export const TOKEN = { minLength: 16, maxLength: 256, pattern: '^[!-~]*$' } as const;
const token = (description: string) => Type.String({ description, ...TOKEN });
const permissionList = (description: string, options: object = {}) =>
  Type.Array(
    literals(
      APP_PERMISSIONS,
      "`resist`: put forces on fingers; `record`: record, replay and remove sessions; `arm`: arm in the wearer's place, which needs a token; `guide`: lead a check or a fit.",
    ),
    { description, uniqueItems: true, ...options },
  );

export const PermissionsSchema = section(
  {
    anyApp: permissionList(
      'Permissions of apps that are not listed below; everything but `arm` when absent. For `arm`, list the app with a token.',
      { default: [...ANY_APP_PERMISSIONS] },
    ),
    apps: Type.Array(
      object(
        {
          name: Type.String({
            description:
              "Name that the app gives itself; `http` stands for HTTP requests without proof, such as those of a script. The page and the command line prove that they are the wearer's, and may do everything.",
            minLength: 1,
            maxLength: 40,
          }),
          may: permissionList('What the app may do.'),
          token: Type.Optional(
            token('Secret of this app alone. It proves the name, which no other app can then use.'),
          ),
        },
        'One app.',
      ),
      { description: 'Apps with permissions of their own.', default: [], maxItems: 64 },
    ),
  },
  'Who may do what. Without a token, a name is only what a program calls itself: that helps against mistakes, not against malice.',
);

export const StreamSchema = section(
  {
    host: Type.String({ description: 'Address to listen on.', default: '127.0.0.1' }),
    port: integer('Port; 0 picks a free one.', { default: 7117, minimum: 0, maximum: 65535 }),
    origins: Type.Array(Type.String(), {
      description: 'Web origins that may connect besides the page of the service.',
      default: [],
    }),
    maxClients: integer('Most connections at once.', { default: 64, minimum: 1, maximum: 1024 }),
    token: Type.Optional(token('Secret that apps must give; required on addresses other than loopback.')),
    tokenFile: Type.Optional(
      Type.String({
        description:
          'File that holds the token, instead of `token`: relative to the profile, readable by you alone (mode 0600).',
        minLength: 1,
        maxLength: 1000,
      }),
    ),
    permissions: PermissionsSchema,
  },
  'The WebSocket that apps connect to.',
);
