import { type Static, Type } from '@sinclair/typebox';
import { type SchemaCheck, schemaCheck, schemaCompiler } from '../config/schema-check.js';
import { FLEET_KINDS } from '../config/schema-fleet.js';
import type { Glove } from '../glove/view.js';
import { HAND_SIDES } from '../hand/joints.js';
import { NTP_STATES } from './ntp.js';
import { FLEET_VERSION } from './topics.js';

/** What a station says of itself. */

const oneOf = <T extends string>(values: readonly T[]) =>
  Type.Unsafe<T>({ type: 'string', enum: [...values] });
const text = (maxLength: number) => Type.String({ maxLength });
const count = Type.Number({ minimum: 0 });
const MAX_TROUBLES = 8;
const MAX_SAYS = 300;

export const StatusSchema = Type.Object(
  {
    fleet: Type.Literal(FLEET_VERSION),
    online: Type.Boolean(),
    version: text(40),
    run: Type.String({ pattern: '^[0-9a-f]{16}$' }),
    startedAt: text(40),
    publishes: Type.Array(oneOf(FLEET_KINDS), { maxItems: FLEET_KINDS.length }),
    gloves: Type.Array(
      Type.Object({
        hand: oneOf(HAND_SIDES),
        name: text(200),
        link: text(20),
        armed: Type.Boolean(),
        valid: Type.Boolean(),
        rateHz: count,
        lost: count,
        deviceId: Type.Optional(text(16)),
        firmwareVersion: Type.Optional(count),
        batteryMv: Type.Optional(count),
        temperatureC: Type.Optional(Type.Number()),
        troubles: Type.Array(
          Type.Object({
            what: text(60),
            state: oneOf(['wrong', 'attention'] as const),
            says: text(MAX_SAYS),
          }),
          { maxItems: MAX_TROUBLES },
        ),
      }),
      { maxItems: 2 },
    ),
    broker: Type.Optional(
      Type.Object({
        roundTripMs: count,
        sent: count,
        refused: count,
        dropped: Type.Object({ poses: count, events: count, raw: count }),
        waitingBytes: count,
      }),
    ),
    ntp: Type.Optional(oneOf(NTP_STATES)),
  },
  { $id: 'fleetStatus' },
);
export type StationStatus = Static<typeof StatusSchema>;
export type GloveStatus = StationStatus['gloves'][number];

const compiler = schemaCompiler({ strict: false, validateFormats: false });
const isStatus: SchemaCheck<typeof StatusSchema> = schemaCheck(compiler, StatusSchema);
/** Larger ones are none. */
const MAX_STATUS_BYTES = 32 * 1024;

/** @returns undefined for whatever is not a status */
export function parseStatus(payload: Uint8Array): StationStatus | undefined {
  if (payload.length > MAX_STATUS_BYTES) return undefined;
  try {
    const value: unknown = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(payload));
    return isStatus()(value) ? value : undefined;
  } catch {
    return undefined;
  }
}

export function gloveStatus(glove: Glove): GloveStatus {
  const { hand, name, deviceId, firmwareVersion } = glove.description;
  const { rateHz = 0, lost = 0, batteryMv, temperatureC } = glove.readHealth();
  return {
    hand,
    name: name.slice(0, 200),
    link: glove.linkStatus.state,
    armed: glove.armed,
    valid: glove.frame.valid,
    rateHz: Math.round(rateHz * 10) / 10,
    lost,
    ...(deviceId === undefined ? {} : { deviceId }),
    ...(firmwareVersion === undefined ? {} : { firmwareVersion }),
    ...(batteryMv === undefined ? {} : { batteryMv }),
    ...(temperatureC === undefined ? {} : { temperatureC }),
    troubles: glove
      .readTroubles()
      .slice(0, MAX_TROUBLES)
      .map(({ what, state, says }) => ({ what: what.slice(0, 60), state, says: says.slice(0, MAX_SAYS) })),
  };
}
