import { STREAM_PATH, STREAM_PROTOCOL, SUBPROTOCOL_BINARY, SUBPROTOCOL_JSON } from '../protocol/constants.js';
import { AppMessages, ServerMessages } from '../protocol/messages.js';
import { EXAMPLES } from './examples.js';
import { BINARY_LAYOUT } from './joints-record.js';

type Json = Record<string, unknown>;

const ref = (path: string): Json => ({ $ref: `#/${path}` });
const inChannel = (name: string): Json => ref(`channels/stream/messages/${name}`);

/** A schema without the parts that only our own validator needs. */
function payload(schema: object): Json {
  const { $id: _, ...plain } = JSON.parse(JSON.stringify(schema)) as Json;
  return plain;
}

const messages: Json = {};
for (const [name, schema] of Object.entries({ ...AppMessages, ...ServerMessages })) {
  const example = (EXAMPLES as Record<string, object | undefined>)[name];
  messages[name] = {
    name,
    title: name,
    summary: schema.description,
    contentType: 'application/json',
    payload: payload(schema),
    ...(example ? { examples: [{ name, payload: example }] } : {}),
  };
}
messages.jointsRecord = {
  name: 'jointsRecord',
  title: 'joints, binary',
  summary: `The joints message of ${SUBPROTOCOL_BINARY}: one fixed little-endian record.`,
  contentType: 'application/octet-stream',
  payload: {
    type: 'string',
    format: 'binary',
    description: BINARY_LAYOUT.map(
      ({ name, offset, type, meaning }) => `${offset ?? 'then'}: ${type} ${name} (${meaning})`,
    ).join('; '),
  },
};

const operations: Json = {};
for (const name of Object.keys(AppMessages)) {
  operations[name] = {
    action: 'receive',
    summary: AppMessages[name as keyof typeof AppMessages].description,
    channel: ref('channels/stream'),
    messages: [inChannel(name)],
    reply: { channel: ref('channels/stream'), messages: [inChannel('ack'), inChannel('error')] },
  };
}
for (const name of [...Object.keys(ServerMessages), 'jointsRecord']) {
  if (name === 'ack' || name === 'error') continue;
  operations[`send${name[0].toUpperCase()}${name.slice(1)}`] = {
    action: 'send',
    summary: (messages[name] as Json).summary,
    channel: ref('channels/stream'),
    messages: [inChannel(name)],
  };
}

/** The stream as an AsyncAPI 3.0 document, from the service's point of view: it receives what apps send. */
export function asyncApiDocument(): Json {
  return {
    asyncapi: '3.0.0',
    info: {
      title: 'Tautline stream',
      version: `${STREAM_PROTOCOL}.0.0`,
      description:
        'Poses, inputs, health and resistance of force-feedback gloves, and what apps ask of them. Lengths in ' +
        'metres, angles in radians, times in microseconds of the clock of the service.',
      license: { name: 'MIT' },
    },
    defaultContentType: 'application/json',
    servers: {
      local: {
        host: '127.0.0.1:7117',
        protocol: 'ws',
        description: 'The service on this machine. Other addresses need a token.',
      },
    },
    channels: {
      stream: {
        address: STREAM_PATH,
        title: 'stream',
        description: `Subprotocols ${SUBPROTOCOL_JSON} (default) and ${SUBPROTOCOL_BINARY}.`,
        messages: Object.fromEntries(
          Object.keys(messages).map((name) => [name, ref(`components/messages/${name}`)]),
        ),
        bindings: {
          ws: {
            query: {
              type: 'object',
              properties: { token: { type: 'string', description: 'Required where the service has one.' } },
            },
          },
        },
      },
    },
    operations,
    components: { messages },
  };
}
