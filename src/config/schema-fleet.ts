import { Type } from '@sinclair/typebox';
import { integer, literals, number, object } from './schema-parts.js';
import { TOPIC_NAME } from './topic-name.js';

/** What a station says to a broker, for those who look after many gloves. */

/** What a station may publish besides its status. */
export const FLEET_KINDS = ['health', 'joints', 'inputs', 'resistance', 'raw'] as const;
export type FleetKind = (typeof FLEET_KINDS)[number];

const file = (description: string) =>
  Type.Optional(Type.String({ description, minLength: 1, maxLength: 1000 }));

export const FleetSchema = Type.Optional(
  object(
    {
      broker: Type.String({
        description:
          'The MQTT 5 broker: `mqtts://HOST:PORT` (TLS), or `mqtt://HOST:PORT` on a network of your own. It needs the npm package mqtt.',
        pattern: '^mqtts?://[^/?#@\\s]+/?$',
        maxLength: 300,
      }),
      site: Type.String({ description: 'Where this service is: a lab, a room.', pattern: TOPIC_NAME }),
      station: Type.String({
        description: 'Name of this service, of which there is only one at the site.',
        pattern: TOPIC_NAME,
      }),
      publish: Type.Array(
        literals(
          FLEET_KINDS,
          '`health`; `joints`, the poses; `inputs`; `resistance`; `raw`, what the glove sends, to be recorded elsewhere.',
        ),
        {
          description:
            'What is published besides the status. Everything but `health` is motion of a person: ask the wearer.',
          default: ['health'],
          uniqueItems: true,
        },
      ),
      rateHz: number('Poses and inputs a second.', { default: 30, minimum: 1, maximum: 1000 }),
      username: Type.Optional(
        Type.String({ description: 'Name for the broker.', minLength: 1, maxLength: 200 }),
      ),
      passwordFile: file(
        'File with the password alone in it: relative to the profile, readable by you alone (mode 0600).',
      ),
      caFile: file('Certificate of who signed that of the broker (PEM), if it is not one that Node knows.'),
      certFile: file('Certificate of this station (PEM), for brokers that ask for one.'),
      keyFile: file('Key of that certificate (PEM), readable by you alone.'),
      queueMb: number('Most that waits for a broker that is away or slow, MB.', {
        default: 16,
        minimum: 1,
        maximum: 1024,
      }),
      queueS: integer('Longest that raw bytes wait for the broker, s.', {
        default: 60,
        minimum: 1,
        maximum: 3600,
      }),
    },
    'Publishes this service to a broker, for those who look after many gloves. Nothing is published without this section, and nothing that a broker sends is heeded.',
  ),
);
