import {
  type Build,
  buildOf,
  keepsSide,
  mirrorBuild,
  mirrorChannel,
  OTHER_BUTTON,
  SAFETY_DEFAULTS,
} from './build.js';
import {
  ACTUATOR_PHRASES,
  CHANNEL_PHRASES,
  type Differing,
  GLOVE_PHRASES,
  lookOf,
  plain,
  SAFETY_PHRASES,
  WEARER_PHRASES,
} from './compare-words.js';
import type { ActuatorProfile, ChannelProfile, GloveProfile, Profile } from './schema.js';

/** One side of a comparison. */
export interface Compared {
  /** What the sentences call it, such as `the left glove`. */
  called: string;
  glove: GloveProfile;
  /** Of a whole profile; a part of one has none of its own. */
  rest?: Pick<Profile, 'safety' | 'wearer' | 'stream' | 'openxr'>;
}

/**
 * What is different about the second of two gloves, in plain sentences; none where they are the same. A left and a right
 * one are compared as mirror images: what has to differ then is not said.
 */
export function compareGloves(first: Compared, second: Compared): string[] {
  const mirrored = first.glove.hand !== second.glove.hand;
  const [a, b] = [asBuilt(first), asBuilt(second, mirrored)];
  const names = { first: first.called, second: second.called };
  const sentences = [
    ...said(GLOVE_PHRASES, flatGlove(a, b), flatGlove(b, a), names, ''),
    ...parts('channels', CHANNEL_PHRASES, a.channels, b.channels, names, mirrored),
    ...parts('actuators', ACTUATOR_PHRASES, a.actuators, b.actuators, names, mirrored),
    ...buttonWords(a, b, names, mirrored),
  ];
  if (first.rest && second.rest) {
    sentences.push(
      ...said(
        SAFETY_PHRASES,
        { ...SAFETY_DEFAULTS, ...first.rest.safety },
        { ...SAFETY_DEFAULTS, ...second.rest.safety },
        names,
        'safety',
      ),
      ...said(WEARER_PHRASES, flatWearer(first), flatWearer(second), names, 'wearer'),
    );
    const other = (['stream', 'openxr'] as const).filter(
      (key) => JSON.stringify(first.rest![key]) !== JSON.stringify(second.rest![key]),
    );
    if (other.length > 0) {
      sentences.push(`They also differ in \`${other.join('` and `')}\`, which says nothing of the glove.`);
    }
  }
  return sentences;
}

type Names = { first: string; second: string };
type Phrases = Record<string, (differing: Differing) => string>;

/** Without what belongs to one board or one wearer, and of the first one's hand. */
function asBuilt({ glove }: Compared, mirrored = false): GloveProfile {
  const build: Build = buildOf({ profile: 1, name: '', gloves: [glove], safety: SAFETY_DEFAULTS });
  return (mirrored ? mirrorBuild(build, { sameReadings: true }) : build).gloves[0];
}

/** Key paths and values of what is not a list of parts. */
function flatGlove(
  { link, codec, filter, drift, controls }: GloveProfile,
  other: GloveProfile,
): Record<string, unknown> {
  // Of another kind, everything else differs as well, and says nothing more.
  return flat({
    link: link.kind === other.link.kind ? link : { kind: link.kind },
    codec: codec.kind === other.codec.kind ? codec : { kind: codec.kind },
    filter,
    drift,
    controls,
  });
}
function flatWearer({ glove, rest }: Compared): Record<string, unknown> {
  const { name: _, ...size } = rest!.wearer;
  return { ...size, forearmMm: glove.forearmMm };
}
function flat(value: Record<string, unknown>, at = ''): Record<string, unknown> {
  return Object.fromEntries(
    Object.entries(value).flatMap(([key, inner]) =>
      typeof inner === 'object' && inner !== null && !Array.isArray(inner)
        ? Object.entries(flat(inner as Record<string, unknown>, `${at}${key}.`))
        : [[`${at}${key}`, inner]],
    ),
  );
}

const same = (a: unknown, b: unknown): boolean => JSON.stringify(a) === JSON.stringify(b);

function said(
  phrases: Phrases,
  a: Record<string, unknown>,
  b: Record<string, unknown>,
  { first, second }: Names,
  section: string,
): string[] {
  return differences(a, b).map((differing) => {
    const phrase = phrases[differing.key];
    if (phrase) return sentence(`${second} ${pluralOf(phrase(differing), 1)}`);
    const name = section === '' ? differing.key : `${section}.${differing.key}`;
    return sentence(
      `\`${name}\` is ${lookOf(differing.b)} for ${second}, and ${lookOf(differing.a)} for ${first}`,
    );
  });
}

function differences(a: Record<string, unknown>, b: Record<string, unknown>): Differing[] {
  return [...new Set([...Object.keys(a), ...Object.keys(b)])]
    .filter((key) => !same(a[key], b[key]))
    .map((key) => ({ key, a: a[key], b: b[key], whole: [a, b] }));
}

type Part = ChannelProfile | ActuatorProfile;

/** Sensors or outputs, by role; fingers of which the same is to be said share a sentence. */
function parts(
  list: 'channels' | 'actuators',
  phrases: Phrases,
  a: readonly Part[],
  b: readonly Part[],
  { first, second }: Names,
  mirrored: boolean,
): string[] {
  const what = list === 'channels' ? 'sensor' : 'actuator';
  const keyOf = (part: Part) =>
    list === 'channels' ? part.role : `${part.role} ${(part as ActuatorProfile).kind}`;
  const [ofA, ofB] = [a, b].map(
    (all) => new Map(all.filter(({ role }) => role !== 'spare').map((part) => [keyOf(part), part])),
  );
  const only = (here: Map<string, Part>, there: Map<string, Part>) =>
    [...here.keys()].filter((key) => !there.has(key));
  const sentences: string[] = [];
  for (const [who, extra] of [
    [second, only(ofB, ofA)],
    [first, only(ofA, ofB)],
  ] as const) {
    if (extra.length === 0) continue;
    sentences.push(
      sentence(`${who} alone has the ${what}${extra.length === 1 ? '' : 's'} ${listed(extra.map(spoken))}`),
    );
  }
  const inBoth = [...ofA.keys()].filter((key) => ofB.has(key));
  const orders = [ofA, ofB].map((of) => [...of.keys()].filter((key) => inBoth.includes(key)));
  if (!same(orders[0], orders[1])) {
    sentences.push(sentence(`the ${what}s of ${second} come in another order: ${orders[1].join(', ')}`));
  } else if (
    !same(
      a.map(({ role }) => role),
      b.map(({ role }) => role),
    ) &&
    only(ofA, ofB).length + only(ofB, ofA).length === 0
  ) {
    sentences.push(sentence(`the spare ${what}s of ${second} stand in other places`));
  }
  const byWords = new Map<string, string[]>();
  for (const key of inBoth) {
    for (const differing of differences(
      partData(ofA.get(key)!, mirrored),
      partData(ofB.get(key)!, mirrored),
    )) {
      const phrase = phrases[differing.key];
      const words = phrase ? phrase(differing) : plain(differing.key, differing.a, differing.b);
      if (words === '') continue;
      const roles = byWords.get(words) ?? [];
      if (!roles.includes(key)) roles.push(key);
      byWords.set(words, roles);
    }
  }
  for (const [words, keys] of byWords) {
    sentences.push(
      sentence(
        `${possessive(second)} ${listed(keys.map((key) => subject(key, words)))} ${pluralOf(words, keys.length)}`,
      ),
    );
  }
  return sentences;
}

/**
 * A part as it is compared: what changes together is one value, and `inverted` is part of the two ends. Of mirror images,
 * either may run either way, so both are turned to rise.
 */
function partData(part: Part, mirrored: boolean): Record<string, unknown> {
  if (!('open' in part)) {
    const { servoUs, ...rest } = part;
    return { ...rest, servoUs: mirrored ? servoUs?.toSorted((a, b) => a - b) : servoUs };
  }
  const { inverted, ...straight } = part;
  const meant = inverted ? { ...straight, open: part.closed, closed: part.open } : straight;
  const turned = mirrored && meant.open > meant.closed && !keepsSide(part.role);
  const { open, closed, string, ...rest } = turned ? mirrorChannel({ ...meant, inverted: false }) : meant;
  return {
    ...rest,
    inverted: false,
    ends: [open, closed],
    strung: string !== undefined,
    ...string,
  };
}

function buttonWords(
  { buttons: a }: GloveProfile,
  { buttons: b }: GloveProfile,
  { first, second }: Names,
  mirrored: boolean,
): string[] {
  return differences(a, b).map(({ key, a: bitA, b: bitB }) => {
    // `a` of the right hand is `x` of the left one.
    const name = `\`${key}\`${mirrored && OTHER_BUTTON[key] ? ` (\`${OTHER_BUTTON[key]}\`)` : ''}`;
    if (bitB === undefined)
      return sentence(`${second} has no button ${name}; ${first} has it on bit ${bitA}`);
    if (bitA === undefined)
      return sentence(`${second} has a button ${name} on bit ${bitB}; ${first} has none`);
    return sentence(`${possessive(second)} button ${name} is on bit ${bitB}, not ${bitA}`);
  });
}

/** A string is its finger's, whatever the sensor on it is called. */
const subject = (key: string, words: string): string =>
  /^\{(string|potentiometer)/.test(words) ? key.replace('.curl', '') : spoken(key);
/** `index string stop` for `index stringStop`. */
const spoken = (key: string): string =>
  key.replace('stringStop', 'string stop').replace('vibration', 'vibration motor');
const possessive = (name: string): string => `${name}${name.endsWith('s') ? "'" : "'s"}`;
const listed = (words: readonly string[]): string =>
  words.length < 2 ? words.join('') : `${words.slice(0, -1).join(', ')} and ${words[words.length - 1]}`;
/** A verb in braces, `{passes|pass}`, by how many it is said of. */
const pluralOf = (words: string, count: number): string =>
  words.replace(/\{([^|}]*)\|([^}]*)\}/g, (_, one: string, many: string) => (count === 1 ? one : many));
/** A file name at its start stays as it is written. */
const sentence = (text: string): string =>
  `${/^the[y ]/.test(text) ? text[0].toUpperCase() + text.slice(1) : text}.`;
