import { Type } from '@sinclair/typebox';
import { integer, literals, object, section } from './schema-parts.js';

/** What apps connect to, and what they may do. */

/** What an app may be permitted beyond seeing the hand and letting go, which everybody may. */
export const APP_PERMISSIONS = ['resist', 'record', 'arm', 'guide'] as const;
export type AppPermission = (typeof APP_PERMISSIONS)[number];
/** What any app may be permitted. To arm takes a name and a token. */
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
      'What apps may that are not listed below; everything but `arm` when absent. `arm` takes a line of its own with a token.',
      { default: [...ANY_APP_PERMISSIONS] },
    ),
    apps: Type.Array(
      object(
        {
          name: Type.String({
            description:
              "Name that the app gives itself; `http` stands for HTTP requests that prove nothing, such as those of a script. The page and the command line prove that they are the wearer's and may do everything.",
            minLength: 1,
            maxLength: 40,
          }),
          may: permissionList('What it may.'),
          token: Type.Optional(
            token('Secret of this app alone: it proves the name, which nobody else can then use.'),
          ),
        },
        'One app.',
      ),
      { description: 'Apps that may do more or less than any app.', default: [], maxItems: 64 },
    ),
  },
  'Who may do what. Without app tokens a name is what a program says of itself: good against mistakes, not against malice.',
);

export const StreamSchema = section(
  {
    host: Type.String({ description: 'Address to listen on.', default: '127.0.0.1' }),
    port: integer('Port; 0 picks a free one.', { default: 7117, minimum: 0, maximum: 65535 }),
    origins: Type.Array(Type.String(), {
      description: 'Web origins besides our own page that may connect.',
      default: [],
    }),
    maxClients: integer('Most connections at once.', { default: 64, minimum: 1, maximum: 1024 }),
    token: Type.Optional(token('Secret that apps must give; needed on addresses other than loopback.')),
    tokenFile: Type.Optional(
      Type.String({
        description:
          'File that holds the token, in place of `token`: relative to the profile, and readable by you alone (mode 0600).',
        minLength: 1,
        maxLength: 1000,
      }),
    ),
    permissions: PermissionsSchema,
  },
  'The WebSocket that apps connect to.',
);
