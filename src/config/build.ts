import type { TObject } from '@sinclair/typebox';
import type { HandSide } from '../hand/joints.js';
import type { ChannelRole } from '../protocol/link-table.js';
import {
  type ActuatorProfile,
  type ChannelProfile,
  type GloveProfile,
  GloveSchema,
  type LinkProfile,
  type Profile,
  type SafetyProfile,
  SafetySchema,
} from './schema.js';

/**
 * A build: what a profile says of mechanics and wiring, without the wearer and without this computer. It is what two
 * makers share. In a file it is a profile that leaves everything else at its defaults, so that it runs as it stands.
 */
export type Build = Pick<Profile, 'profile' | 'name' | 'gloves' | 'safety'>;

/** Values of a section that says nothing. */
export const defaultsOf = <T>(section: TObject): T =>
  Object.fromEntries(
    Object.entries(section.properties).flatMap(([key, { default: value }]) =>
      value === undefined ? [] : [[key, value]],
    ),
  ) as T;

export const SAFETY_DEFAULTS = defaultsOf<SafetyProfile>(SafetySchema as unknown as TObject);
/** Sections of a glove that may be left out. */
export const GLOVE_SECTIONS = ['filter', 'drift', 'controls'] as const;
export type GloveSection = (typeof GLOVE_SECTIONS)[number];
export const sectionDefaults = (section: GloveSection): Record<string, unknown> =>
  defaultsOf(GloveSchema.properties[section] as unknown as TObject);

/** What of `safety` belongs to the parts; the rest is the wearer's choice. */
const OF_THE_PARTS = ['maxTensionN', 'maxSupplyA', 'maxStopRatePerS', 'staleMs'] as const;

/** Another name for what was named after a wearer. */
const NAMELESS = 'Shared glove';

/**
 * What is left when the wearer, the person, the ports, ids, tokens and permissions are taken out.
 * @param people names that must not be left in the names of the profile and its gloves
 */
export function buildOf(profile: Build, people: readonly string[] = []): Build {
  const named = (name: string, other: string) => (namesAnyOf(name, people) ? other : name);
  return {
    profile: 1,
    name: named(profile.name, NAMELESS),
    gloves: profile.gloves.map((glove) =>
      gloveOf(glove, named(glove.name, `${NAMELESS} ${glove.hand}`), people),
    ),
    safety: {
      ...SAFETY_DEFAULTS,
      ...Object.fromEntries(OF_THE_PARTS.map((key) => [key, profile.safety[key]])),
    },
  };
}

/** Whether a person's name, or a word of it, stands in a text. */
function namesAnyOf(text: string, people: readonly string[]): boolean {
  const words = wordsOf(text);
  return people.some((person) => wordsOf(person).some((word) => words.includes(word)));
}
/** Letters and digits, without a trailing possessive; single letters are no names. */
const wordsOf = (text: string): string[] =>
  text
    .toLowerCase()
    .replace(/['’]s\b/gu, '')
    .split(/[^\p{L}\p{N}]+/u)
    .filter((word) => word.length > 1);

function gloveOf(
  { forearmMm: _, ...glove }: GloveProfile,
  name: string,
  people: readonly string[],
): GloveProfile {
  return { ...glove, name, link: linkOf(glove.link, glove.hand, people), buttons: usualNames(glove) };
}

/** The kind of link and its pace; no port, serial number or address: those are one board's. */
function linkOf(link: LinkProfile, hand: HandSide, people: readonly string[]): LinkProfile {
  if (link.kind === 'serial') {
    const { path: _path, usb, ...rest } = link;
    const { serial: _serial, ...board } = usb ?? {};
    return Object.keys(board).length > 0 ? { ...rest, usb: board } : rest;
  }
  if (link.kind === 'ble') {
    const { address: _address, name, ...rest } = link;
    return name === undefined || name === `Tautline ${hand}` || namesAnyOf(name, people)
      ? rest
      : { ...rest, name };
  }
  return link;
}

/** `x` and `y` on a left hand, `a` and `b` on a right one, where both mean the same input. */
function usualNames({ hand, buttons }: Pick<GloveProfile, 'hand' | 'buttons'>): Record<string, number> {
  const usual: Record<string, string> = hand === 'left' ? { a: 'x', b: 'y' } : { x: 'a', y: 'b' };
  return renamed(buttons, (name) => {
    const other = usual[name];
    return other === undefined || other in buttons ? name : other;
  });
}

const renamed = (buttons: Record<string, number>, to: (name: string) => string): Record<string, number> =>
  Object.fromEntries(Object.entries(buttons).map(([name, bit]) => [to(name), bit]));

/** Input of the other hand in the same place. */
export const OTHER_BUTTON: Record<string, string> = { a: 'x', b: 'y', x: 'a', y: 'b' };
export const otherHand = (hand: HandSide): HandSide => (hand === 'left' ? 'right' : 'left');

/** How the sensors of the second glove are mounted. */
export interface Mirroring {
  /**
   * Its sensors read as those of the first: the outer wires of each potentiometer are exchanged, or the sensors have no
   * direction. Otherwise each turns the other way.
   */
  sameReadings?: boolean;
}

/**
 * The same glove for the other hand, built as a mirror image of the first, with the same wiring: done twice, it is the
 * first one again.
 *
 * Potentiometers and servos are not mirrored with their brackets, so they turn the other way: a sensor's two ends are
 * exchanged, and a servo's two pulses. Thus both stay inside the part of their turn that is known to be usable. The order of
 * channels and actuators is that of the board's connectors, and stays. So do stick and wrist sensor, which are mounted
 * upright on either hand, and wire stops, which the firmware makes into pulses.
 */
export function mirrorBuild(build: Build, { sameReadings = false }: Mirroring = {}): Build {
  return {
    ...build,
    name: otherSide(build.name),
    gloves: build.gloves.map((glove) => ({
      ...glove,
      name: otherSide(glove.name),
      hand: otherHand(glove.hand),
      link: mirrorLink(glove.link),
      channels: sameReadings ? glove.channels : glove.channels.map(mirrorChannel),
      actuators: glove.actuators.map(mirrorActuator),
      buttons: renamed(glove.buttons, (name) => OTHER_BUTTON[name] ?? name),
    })),
  };
}

/** `Left` for `Right`, wherever it stands as a word. */
const otherSide = (text: string): string =>
  text.replace(/\b(left|right)\b/gi, (word) => {
    const other = word.toLowerCase() === 'left' ? 'right' : 'left';
    if (word === word.toUpperCase()) return other.toUpperCase();
    return word[0] === word[0].toUpperCase() ? other[0].toUpperCase() + other.slice(1) : other;
  });

const mirrorLink = (link: LinkProfile): LinkProfile =>
  link.kind === 'ble' && link.name !== undefined ? { ...link, name: otherSide(link.name) } : link;

/** Whether the sensor of a role is mounted on the other hand as it is on this one, not in a mirrored bracket. */
export const keepsSide = (role: ChannelRole): boolean => /^(spare|thumbRest|stick\.|wrist\.)/.test(role);

/** Counts to a thousandth: what is taken from a sum twice is then the number that it was. */
const exact = (counts: number): number => Math.round(counts * 1000) / 1000;

export function mirrorChannel(channel: ChannelProfile): ChannelProfile {
  if (keepsSide(channel.role)) return channel;
  const { open, closed, centre, curve } = channel;
  const across = (counts: number) => exact(open + closed - counts);
  return {
    ...channel,
    open: closed,
    closed: open,
    ...(centre === undefined ? {} : { centre: across(centre) }),
    ...(curve === undefined
      ? {}
      : { curve: curve.map(([counts, curl]): [number, number] => [across(counts), curl]) }),
  };
}

const mirrorActuator = (actuator: ActuatorProfile): ActuatorProfile =>
  actuator.servoUs ? { ...actuator, servoUs: [actuator.servoUs[1], actuator.servoUs[0]] } : actuator;

/** Limits that an imported build may not loosen: beyond the default, the wearer sets them. */
const TIGHTENED = [
  ['maxTensionN', 'N a string'],
  ['maxStopRatePerS', 'curl a second for a stop that comes nearer'],
] as const;

/** Somebody else's build, as it comes into use here. @returns what was held back, in words */
export function admitBuild(build: Build): { build: Build; heldBack: string[] } {
  const safety = { ...build.safety };
  const heldBack: string[] = [];
  for (const [key, unit] of TIGHTENED) {
    const usual = SAFETY_DEFAULTS[key];
    if (safety[key] <= usual) continue;
    heldBack.push(
      `safety.${key} is ${safety[key]} in it (${unit}), and ${usual} here: no file loosens a limit. Raise it yourself if your parts are safe with it.`,
    );
    safety[key] = usual;
  }
  return { build: { ...build, safety }, heldBack };
}
