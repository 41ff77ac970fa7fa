import { CHANNEL_ROLE } from '../protocol/link-table.js';
import { isLoopback } from './address.js';
import { listed, pathName, quote } from './describe.js';
import { parseTemplate, TEMPLATE_QUANTITIES } from './line-template.js';
import { nearest } from './nearest.js';
import { askRadius, askTorque } from './plausible-parts.js';
import type { Problem } from './problem.js';
import {
  type ActuatorProfile,
  type ChannelProfile,
  type FleetProfile,
  type GloveProfile,
  LINE_COLUMNS,
  type Profile,
} from './schema.js';
import { COLLECTORS } from './topic-name.js';

type Report = (path: readonly (string | number)[], text: string) => void;

/**
 * The rules that tie several keys together.
 * @param data a profile that may break its schema: parts with a schema problem are passed over
 * @param recorded of a recording: figures of parts are taken as they are, for nothing is moved by them
 */
export function checkRules(data: unknown, schemaProblems: readonly Problem[], recorded = false): Problem[] {
  const problems: Problem[] = [];
  const report: Report = (path, text) => problems.push({ path: path.map(String), at: 'value', text });
  /** Every path that breaks the schema, and every one above it. */
  const broken = new Set(
    schemaProblems.flatMap(({ path }) => path.map((_, depth) => path.slice(0, depth + 1).join('/'))),
  );
  /** Whether nothing at or below the path breaks the schema, nor anything above it by its type. */
  const sound = (...path: (string | number)[]) => {
    let value: unknown = data;
    for (const key of path) {
      if (typeof value !== 'object' || value === null) return false;
      value = (value as Record<string, unknown>)[key];
    }
    return value !== undefined && !broken.has(path.join('/'));
  };
  const profile = data as Profile;

  if (sound('safety')) checkSafety(profile, report);
  if (sound('stream')) checkStream(profile, report);
  if (sound('fleet')) checkFleet(profile.fleet!, report);
  const gloves = Array.isArray(profile.gloves) ? profile.gloves : [];
  for (const [g, glove] of gloves.entries()) {
    const at = ['gloves', g];
    const channels = soundItems<ChannelProfile>(glove?.channels, (i) => sound(...at, 'channels', i));
    const actuators = soundItems<ActuatorProfile>(glove?.actuators, (i) => sound(...at, 'actuators', i));
    for (const [i, channel] of channels) checkChannel(channel, [...at, 'channels', i], report);
    for (const [i, actuator] of actuators) checkActuator(actuator, [...at, 'actuators', i], report);
    if (!recorded) {
      for (const [i, channel] of channels) askAboutSpool(channel, [...at, 'channels', i], report);
      for (const [i, actuator] of actuators) askAboutServo(actuator, [...at, 'actuators', i], report);
    }
    checkRolesOnce(channels, actuators, at, report);
    checkWristSensor(channels, glove?.forearmMm, at, report);
    if (sound(...at, 'buttons')) checkButtons(glove.buttons, [...at, 'buttons'], report);
    if (sound(...at, 'codec') && sound(...at, 'channels') && sound(...at, 'actuators')) {
      checkCodec(glove, at, report);
    }
    if (sound(...at, 'hand')) {
      const first = gloves.findIndex((other) => other?.hand === glove.hand);
      if (first < g) report([...at, 'hand'], `gloves[${first}] is already the ${glove.hand} hand`);
    }
  }
  return problems;
}

function soundItems<T>(list: unknown, sound: (index: number) => boolean): [number, T][] {
  return Array.isArray(list) ? [...list.entries()].filter(([i]) => sound(i)) : [];
}

function checkSafety({ safety }: Profile, report: Report): void {
  const { defaultTtlMs, maxTtlMs } = safety;
  if (maxTtlMs < defaultTtlMs) {
    report(
      ['safety', 'maxTtlMs'],
      `safety.maxTtlMs (${maxTtlMs}) must be at least safety.defaultTtlMs (${defaultTtlMs})`,
    );
  }
}

function checkFleet(fleet: FleetProfile, report: Report): void {
  const { broker, site, passwordFile, certFile, keyFile } = fleet;
  const at = (key: string) => ['fleet', key];
  if (!URL.canParse(broker))
    report(at('broker'), 'fleet.broker is no address; write such as mqtts://broker.lab:8883');
  else if (!broker.startsWith('mqtts:')) {
    const { hostname } = new URL(broker);
    if (passwordFile !== undefined && !isLoopback(hostname.replace(/^\[|\]$/g, ''))) {
      report(at('broker'), 'fleet.broker: the password could be read on the network; write mqtts://');
    }
    for (const key of ['caFile', 'certFile', 'keyFile'] as const) {
      if (fleet[key] !== undefined) report(at(key), `fleet.${key} is for mqtts:// alone`);
    }
  }
  if ((certFile === undefined) !== (keyFile === undefined)) {
    report(
      at(certFile === undefined ? 'keyFile' : 'certFile'),
      'fleet.certFile and fleet.keyFile belong together',
    );
  }
  if (site === COLLECTORS)
    report(at('site'), `fleet.site: ${COLLECTORS} is the place of collectors; choose another name`);
}

function checkStream({ stream }: Profile, report: Report): void {
  if (!isLoopback(stream.host) && stream.token === undefined && stream.tokenFile === undefined) {
    report(
      ['stream', 'host'],
      `stream.host ${quote(stream.host)} can be reached by other machines: it needs a stream.token of 16 characters or more`,
    );
  }
  if (stream.token !== undefined && stream.tokenFile !== undefined) {
    report(['stream', 'tokenFile'], 'stream.token and stream.tokenFile are both given; keep one');
  }
  const { anyApp, apps } = stream.permissions;
  const armsAnyway = anyApp.indexOf('arm');
  if (armsAnyway >= 0) {
    report(
      ['stream', 'permissions', 'anyApp', armsAnyway],
      'stream.permissions.anyApp: no app arms just by asking; list the app that may under apps, with a token',
    );
  }
  for (const [i, { name, token, may }] of apps.entries()) {
    const at = ['stream', 'permissions', 'apps', i];
    if (may.includes('arm') && token === undefined) {
      report(
        [...at, 'may', may.indexOf('arm')],
        `stream.permissions.apps[${i}] ${quote(name)}: an app that may arm needs a token of 16 characters or more`,
      );
    }
    const first = apps.findIndex((other) => other.name === name);
    if (first < i) {
      report([...at, 'name'], `stream.permissions.apps[${first}] is already named ${quote(name)}`);
    }
    const same = (other: string | undefined) => token !== undefined && other === token;
    if (same(stream.token) || apps.slice(0, i).some((other) => same(other.token))) {
      report([...at, 'token'], `the token of ${quote(name)} is used twice; each needs its own`);
    }
  }
  for (const [i, origin] of stream.origins.entries()) {
    const right = originOf(origin);
    if (right === origin) continue;
    const hint = right === undefined ? 'such as https://app.example' : `did you mean ${quote(right)}?`;
    report(['stream', 'origins', i], `stream.origins[${i}] must be a web origin without a path; ${hint}`);
  }
}

function originOf(text: string): string | undefined {
  try {
    const { origin } = new URL(text);
    return origin === 'null' ? undefined : origin;
  } catch {
    return undefined;
  }
}

function checkChannel(channel: ChannelProfile, at: readonly (string | number)[], report: Report): void {
  const { role, open, closed, centre, bits, curve } = channel;
  const name = `${pathName(at.map(String))} (${role})`;
  if (role === 'spare') return;
  const highest = 2 ** bits - 1;
  for (const [key, counts] of Object.entries({ open, closed, centre })) {
    if (counts !== undefined && (counts < 0 || counts > highest)) {
      report([...at, key], `${name}: ${key} must lie in 0..${highest} (bits: ${bits}), but is ${counts}`);
    }
  }
  if (open === closed) {
    report([...at, 'closed'], `${name}: open and closed must differ, but both are ${open}`);
    return;
  }
  const [from, to] = channel.inverted ? [closed, open] : [open, closed];
  const along = (counts: number) => (counts - from) / (to - from);
  if (centre !== undefined && !(along(centre) > 0 && along(centre) < 1)) {
    report(
      [...at, 'centre'],
      `${name}: centre must lie between open (${open}) and closed (${closed}), but is ${centre}`,
    );
  }
  if (curve === undefined) return;
  const outside = curve.findIndex(
    ([counts, curl]) => !(along(counts) >= 0 && along(counts) <= 1 && curl >= 0 && curl <= 1),
  );
  if (outside >= 0) {
    report(
      [...at, 'curve', outside],
      `${name}: curve point ${outside + 1} must have counts between open (${open}) and closed (${closed}) and a curl in 0..1`,
    );
    return;
  }
  const towardsClosed = [...curve.entries()].sort(([, a], [, b]) => along(a[0]) - along(b[0]));
  for (const [place, [index, [counts, curl]]] of towardsClosed.entries()) {
    if (place === 0) continue;
    const [, [before, curlBefore]] = towardsClosed[place - 1];
    if (counts === before || curl < curlBefore) {
      report(
        [...at, 'curve', index],
        `${name}: the curve must rise from open to closed, but goes from [${before}, ${curlBefore}] to [${counts}, ${curl}]`,
      );
      return;
    }
  }
}

function checkActuator(actuator: ActuatorProfile, at: readonly (string | number)[], report: Report): void {
  const name = `${pathName(at.map(String))} (${actuator.role})`;
  if (actuator.stopAtOpen === actuator.stopAtClosed) {
    report([...at, 'stopAtClosed'], `${name}: stopAtOpen and stopAtClosed must differ`);
  }
  if (actuator.servoUs && actuator.servoUs[0] === actuator.servoUs[1]) {
    report([...at, 'servoUs'], `${name}: the two pulses of servoUs must differ`);
  }
}

/** A figure that no such part has was given in another unit: that is asked, rather than believed. */
function askAboutServo(actuator: ActuatorProfile, at: readonly (string | number)[], report: Report): void {
  const { kind, role, stallTorqueNm, spoolRadiusMm } = actuator;
  if (kind === 'vibration') return;
  const name = `${pathName(at.map(String))} (${role})`;
  const torque = askTorque(stallTorqueNm);
  if (torque) report([...at, 'stallTorqueNm'], `${name}: stallTorqueNm: ${torque}`);
  const radius = askRadius(spoolRadiusMm);
  if (radius) report([...at, 'spoolRadiusMm'], `${name}: spoolRadiusMm: ${radius}`);
}

function askAboutSpool(channel: ChannelProfile, at: readonly (string | number)[], report: Report): void {
  const radius = channel.string && askRadius(channel.string.spoolRadiusMm);
  if (!radius) return;
  const name = `${pathName(at.map(String))} (${channel.role})`;
  report([...at, 'string', 'spoolRadiusMm'], `${name}: spoolRadiusMm: ${radius}`);
}

function checkRolesOnce(
  channels: readonly [number, ChannelProfile][],
  actuators: readonly [number, ActuatorProfile][],
  at: readonly (string | number)[],
  report: Report,
): void {
  const firstOf = (list: string, key: string, seen: Map<string, number>, i: number, what: string) => {
    const first = seen.get(key);
    if (first === undefined) seen.set(key, i);
    else
      report(
        [...at, list, i, 'role'],
        `${what} is already ${pathName([...at.map(String), list, String(first)])}`,
      );
  };
  const channelRoles = new Map<string, number>();
  for (const [i, { role }] of channels) {
    if (role !== 'spare') firstOf('channels', role, channelRoles, i, `channel ${role}`);
  }
  // A finger may have a string stop and a vibration motor, but not two of a kind.
  const actuatorRoles = new Map<string, number>();
  for (const [i, { role, kind }] of actuators) {
    if (role !== 'spare')
      firstOf('actuators', `${role} ${kind}`, actuatorRoles, i, `actuator ${role} (${kind})`);
  }
}

function checkWristSensor(
  channels: readonly [number, ChannelProfile][],
  forearmMm: number | undefined,
  at: readonly (string | number)[],
  report: Report,
): void {
  const axes = ['wrist.qx', 'wrist.qy', 'wrist.qz', 'wrist.qw'] as const;
  const missing = axes.filter((axis) => !channels.some(([, { role }]) => role === axis));
  if (missing.length > 0 && missing.length < axes.length) {
    report(
      [...at, 'channels'],
      `a wrist sensor needs all four of ${axes.join(', ')}; missing: ${missing.join(', ')}`,
    );
  }
  if (forearmMm !== undefined && missing.length === axes.length) {
    report(
      [...at, 'forearmMm'],
      `a forearm moves by a wrist sensor, ${axes.join(', ')}: this glove has none`,
    );
  }
}

function checkButtons(
  buttons: Record<string, number>,
  at: readonly (string | number)[],
  report: Report,
): void {
  const seen = new Map<number, string>();
  for (const [name, bit] of Object.entries(buttons)) {
    const other = seen.get(bit);
    if (other === undefined) seen.set(bit, name);
    else report([...at, name], `button ${name}: bit ${bit} is already ${other}`);
  }
}

function checkCodec(glove: GloveProfile, at: readonly (string | number)[], report: Report): void {
  const { codec, channels, actuators } = glove;
  if (codec.kind !== 'lines') return;
  const path = [...at, 'codec'];
  const known = [...Object.keys(CHANNEL_ROLE).filter((role) => role !== 'spare'), ...LINE_COLUMNS];
  const seen = new Set<string>();
  for (const [i, column] of codec.columns.entries()) {
    const name = `codec.columns[${i}] ${quote(column)}`;
    const where = [...path, 'columns', i];
    if (!known.includes(column)) {
      const near = nearest(column, known);
      report(
        where,
        `${name} is unknown; ${near ? `did you mean ${near}?` : `known are channel roles and ${listed(LINE_COLUMNS)}`}`,
      );
    } else if (column !== 'skip' && seen.has(column)) report(where, `${name} is given twice`);
    else if (column in CHANNEL_ROLE && !channels.some(({ role }) => role === column)) {
      report(where, `${name} has no channel; add one with that role, or write skip`);
    }
    seen.add(column);
  }
  for (const [i, { role }] of channels.entries()) {
    if (role !== 'spare' && !seen.has(role)) {
      report([...at, 'channels', i, 'role'], `channel ${role} has no column in codec.columns`);
    }
  }
  if (codec.output === undefined) {
    if (actuators.length > 0) report(path, 'actuators need codec.output, the line that commands them');
  } else checkTemplate('output', codec.output, actuators, path, report);
  if (codec.release !== undefined) checkTemplate('release', codec.release, actuators, path, report);
}

function checkTemplate(
  key: 'output' | 'release',
  template: string,
  actuators: readonly ActuatorProfile[],
  codecAt: readonly (string | number)[],
  report: Report,
): void {
  const at = [...codecAt, key];
  for (const part of parseTemplate(template)) {
    if (typeof part === 'string') continue;
    const { field, role, quantity, wrote } = part;
    const actuator = actuators.find((candidate) => candidate.role === role);
    if (quantity === undefined) {
      const near = wrote && !wrote.includes('.') ? nearest(wrote, TEMPLATE_QUANTITIES) : undefined;
      const hint = near
        ? `did you mean {${role}.${near}}?`
        : 'write such as {index.stop}, {index.effort} or {index.us}';
      report(at, `codec.${key}: ${quote(field)} is unknown; ${hint}`);
    } else if (!actuator)
      report(at, `codec.${key}: ${quote(field)} has no actuator with the role ${quote(role)}`);
    else if (quantity === 'us' && !actuator.servoUs) {
      report(at, `codec.${key}: ${quote(field)} needs servoUs in the actuator ${role}`);
    }
  }
}
