/**
 * What a difference means, by key of the profile: the part of a sentence that follows the subject. A verb in braces,
 * `{passes|pass}`, goes by how many fingers it is said of. A key that has no words here is named as it is.
 */
export interface Differing {
  key: string;
  /** Values of the first and the second; undefined where a key is absent. */
  a: unknown;
  b: unknown;
  /** Everything of the parts that they belong to. */
  whole: [Record<string, unknown>, Record<string, unknown>];
}
type Phrases = Record<string, (differing: Differing) => string>;

/** At most four digits. */
const figure = (value: number): string => String(Number(value.toPrecision(4)));
export const lookOf = (value: unknown): string =>
  value === undefined ? 'not given' : typeof value === 'number' ? figure(value) : JSON.stringify(value);

/** `pulls at 3 mm more radius (20 mm, not 17)` */
const by =
  (verb: string, unit: string, [more, less]: [string, string], rest = '') =>
  ({ key, a, b }: Differing): string => {
    if (typeof a !== 'number' || typeof b !== 'number') return plain(key, a, b);
    return `${verb} ${figure(Math.abs(b - a))} ${unit} ${b > a ? more : less}${rest} (${figure(b)} ${unit}, not ${figure(a)})`;
  };
/** Of a key that one of them does not give. */
export const plain = (key: string, a: unknown, b: unknown): string =>
  b === undefined
    ? `{gives|give} no \`${key}\`; the other ${lookOf(a)}`
    : a === undefined
      ? `{gives|give} \`${key}\` as ${lookOf(b)}; the other {does|do} not`
      : `{has|have} \`${key}\` at ${lookOf(b)}, not ${lookOf(a)}`;
const onOff =
  (on: string, off: string) =>
  ({ b }: Differing): string =>
    b ? on : off;

export const GLOVE_PHRASES: Phrases = {
  'link.kind': ({ a, b }) =>
    `is reached by ${LINK_WORDS[String(b)] ?? b}, not by ${LINK_WORDS[String(a)] ?? a}`,
  'link.baud': ({ a, b }) =>
    typeof a === 'number' && typeof b === 'number'
      ? `talks at ${b} bits a second, not ${a}`
      : b === undefined
        ? 'has no baud rate'
        : `talks at ${b} bits a second`,
  'codec.kind': ({ b }) =>
    b === 'frames'
      ? 'speaks the link protocol, not lines of text'
      : 'sends lines of text, not the link protocol',
  'codec.columns': ({ b }) => (Array.isArray(b) ? `sends the columns ${b.join(', ')}` : 'has no columns'),
  'codec.output': ({ b }) =>
    b === undefined ? 'is sent no line' : `is moved by the line ${JSON.stringify(b)}`,
};
const LINK_WORDS: Record<string, string> = {
  serial: 'a serial port',
  ble: 'Bluetooth LE',
  simulated: 'nothing: it is simulated',
};

const JOINTS = ['knuckle', 'middle joint', 'last joint'];
const THUMB_JOINTS = ['base', 'knuckle', 'last joint'];

function heightWords({ a, b, whole }: Differing): string {
  if (!Array.isArray(a) || !Array.isArray(b)) {
    const heights = (Array.isArray(b) ? b : (a as number[])).join(', ');
    return Array.isArray(b)
      ? `{string has|strings have} heights of {its|their} own over the joints, ${heights} mm`
      : `{string passes|strings pass} at the usual heights, not at ${heights} mm`;
  }
  const joints = String(whole[1].role).startsWith('thumb') ? THUMB_JOINTS : JOINTS;
  const shifts = (b as number[]).map((height, joint) => height - a[joint]);
  const way = (shift: number) => `${figure(Math.abs(shift))} mm ${shift > 0 ? 'higher' : 'lower'}`;
  if (shifts.every((shift) => Math.abs(shift - shifts[0]) < 1e-9)) {
    return `{string passes|strings pass} ${way(shifts[0])} over every joint (${b.join(', ')} mm, not ${a.join(', ')})`;
  }
  const each = shifts.flatMap((shift, joint) =>
    shift === 0
      ? []
      : [`${way(shift)} over the ${joints[joint]} (${figure(b[joint])} mm, not ${figure(a[joint])})`],
  );
  return `{string passes|strings pass} ${each.join(', ')}`;
}

function endWords({ a, b }: Differing): string {
  const [[openA, closedA], [openB, closedB]] = [a as number[], b as number[]];
  const range = `${figure(openB)} open and ${figure(closedB)} closed, not ${figure(openA)} and ${figure(closedA)}`;
  if (closedA > openA !== closedB > openB) {
    return `{runs|run} the other way: counts ${closedB > openB ? 'rise' : 'fall'} towards closed (${range})`;
  }
  const [spanA, spanB] = [Math.abs(closedA - openA), Math.abs(closedB - openB)];
  const part = Math.abs(spanB / spanA - 1);
  if (part < 0.01) return `{reads|read} in another place of the converter (${range})`;
  const percent = figure(Number((part * 100).toPrecision(2)));
  return `{uses|use} ${percent} % ${spanB > spanA ? 'more' : 'less'} of the converter (${range})`;
}

/** Only where both have a string: that one has not is said by itself. */
function ofStrings(words: (differing: Differing) => string): (differing: Differing) => string {
  return (differing) => (differing.whole.every(({ strung }) => strung) ? words(differing) : '');
}

export const CHANNEL_PHRASES: Phrases = {
  ends: endWords,
  bits: ({ a, b }) => `{has a converter|have converters} of ${b} bits, not ${a}`,
  centre: ({ a, b }) => `{rests|rest} at ${lookOf(b)}, not ${lookOf(a)}`,
  strung: onOff(
    '{is|are} solved from a string, not read as a plain range',
    '{is|are} read as a plain range, not solved from a string',
  ),
  spoolRadiusMm: ofStrings(
    by('{string winds on a spool|strings wind on spools} of', 'mm', ['more', 'less'], ' radius'),
  ),
  electricalTravelDeg: ofStrings(
    by('{potentiometer turns|potentiometers turn}', 'degrees', ['further', 'less far']),
  ),
  heightsMm: ofStrings(heightWords),
  curve: ({ a, b }) =>
    a === undefined
      ? '{has a curve between its ends|have curves between their ends}; the other is straight'
      : b === undefined
        ? '{is straight between its ends|are straight between their ends}; the other has a curve'
        : '{bends otherwise between its ends|bend otherwise between their ends} (`curve`)',
};

export const ACTUATOR_PHRASES: Phrases = {
  spoolRadiusMm: by('{pulls|pull} at', 'mm', ['more', 'less'], ' radius'),
  stallTorqueNm: by('{stalls|stall} at', 'N·m', ['more', 'less']),
  speedCurlPerS: by('{is|are}', 'curl/s', ['faster', 'slower']),
  stallCurrentA: by('{takes|take}', 'A', ['more', 'less'], ' at stall'),
  slack: by('{pays|pay} out', 'curl', ['more', 'less'], ' when free'),
  maxHoldS: by('may hold', 's', ['longer', 'shorter']),
  coolS: by('{cools|cool} in', 's', ['more', 'less']),
  stopAtOpen: ({ a, b }) => `{is|are} taut with the finger open at ${lookOf(b)} of the way, not ${lookOf(a)}`,
  stopAtClosed: ({ a, b }) =>
    `{is|are} taut with the finger closed at ${lookOf(b)} of the way, not ${lookOf(a)}`,
  torqueControl: onOff('{heeds|heed} the effort asked for', '{holds|hold} with full force or not at all'),
  servoUs: ({ key, a, b }) => {
    if (!Array.isArray(a) || !Array.isArray(b)) return plain(key, a, b);
    const turned = b[1] > b[0] !== a[1] > a[0];
    return `${turned ? '{turns|turn} the other way: ' : ''}{goes|go} from ${b[0]} to ${b[1]} µs, not from ${a[0]} to ${a[1]}`;
  },
};

export const SAFETY_PHRASES: Phrases = {
  maxTensionN: by('permits', 'N', ['more', 'less'], ' a string'),
  maxSupplyA: by('has a supply of', 'A', ['more', 'less']),
  staleMs: by('frees fingers', 'ms', ['later', 'sooner'], ' when samples stop'),
  maxStopRatePerS: by('brings stops nearer', 'curl/s', ['faster', 'slower']),
  allowPull: onOff('permits stops behind the finger', 'permits no stop behind the finger'),
};

export const WEARER_PHRASES: Phrases = {
  handLengthMm: by('is worn on a hand', 'mm', ['longer', 'shorter']),
  handBreadthMm: by('is worn on a hand', 'mm', ['broader', 'narrower']),
};
