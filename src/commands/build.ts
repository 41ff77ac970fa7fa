import { basename } from 'node:path';
import { type Command, Option } from 'commander';
import type { Build } from '../config/build.js';
import type { Profile } from '../config/schema.js';
import { TautlineError } from '../errors.js';
import { HAND_SIDES, type HandSide } from '../hand/joints.js';
import { wrap } from './shared/wrap.js';

interface ExportOptions {
  profile: string;
  hand?: HandSide;
}
interface ImportOptions {
  mirrored?: boolean;
  sameReadings?: boolean;
  hand?: HandSide;
  port?: string;
}

const COLUMNS = 80;
const OWN_FIRMWARE =
  'It sends text from a firmware that is not ours: see that yours frees every finger when no line has come for 250 ms, with the glove off the hand.';

export function addBuildCommand(program: Command): void {
  const command = program
    .command('build')
    .description('Share how a glove is built: mechanics and wiring, without the wearer.');
  const hand = () => new Option('--hand <side>', 'one of two gloves').choices(HAND_SIDES);
  command
    .command('export')
    .description('Write the build of your glove to one file that others can use.')
    .argument('<file>', 'file to write; never overwritten')
    .requiredOption('--profile <file>', 'your glove')
    .addOption(hand())
    .addHelpText(
      'after',
      `
Example:
  tautline build export shared-glove.yaml --profile my-glove.yaml

Left out: wearer, fits and persons, ports and serial numbers, addresses, tokens, permissions, comments. Names that hold the
name of a person who was fitted are replaced. Read the file before you share it.`,
    )
    .action(exportBuild);
  command
    .command('import')
    .description("Write a profile of your own from somebody's build, also for the other hand.")
    .argument('<file>', "somebody's build, or any profile: only its build is taken")
    .argument('<profile>', 'profile to write; never overwritten')
    .option('--mirrored', 'your glove is its mirror image, for the other hand')
    .option(
      '--same-readings',
      'with --mirrored: sensors read as on the first (outer wires exchanged, or sensors without direction)',
    )
    .addOption(hand())
    .option('--port <path>', 'serial port of your glove')
    .addHelpText(
      'after',
      `
Examples:
  tautline build import shared-glove.yaml new-glove.yaml
  tautline build import shared-glove.yaml new-left.yaml --mirrored

No file loosens a limit: what it permits beyond the usual tension and speed is held back, and said.`,
    )
    .action(importBuild);
  command
    .command('compare')
    .description('Say in words what is different about the second of two gloves.')
    .argument('<first>', 'a profile or a build')
    .argument('[second]', 'another; left out: the two gloves of the first')
    .option('--json', 'print JSON')
    .addHelpText(
      'after',
      `
Example:
  tautline build compare my-glove.yaml shared-glove.yaml

A left and a right glove are compared as mirror images.`,
    )
    .action(compareBuilds);
}

async function exportBuild(file: string, { profile: path, hand }: ExportOptions): Promise<void> {
  const [{ loadProfile }, { buildOf }, { buildText }, { fitFileOf, openFits }] = await Promise.all([
    import('../config/load.js'),
    import('../config/build.js'),
    import('../config/build-text.js'),
    import('../config/fit-file.js'),
  ]);
  const profile = await loadProfile(path);
  const people = openFits(fitFileOf(path)).entries.map(({ person }) => person);
  if (profile.wearer.name !== undefined) people.push(profile.wearer.name);
  const build = buildOf({ ...profile, gloves: glovesOf(profile, hand, path) }, people);
  await writeNew(
    file,
    buildText(build, [
      'How a glove is built, shared by its maker with `tautline build export`. Counts, pulses and forces are those of its',
      "maker's parts: take it in with `tautline build import`, then check and fit.",
      '',
      'BEFORE YOU WEAR IT WITH FORCES: run it with the glove off the hand, arm it, and see that every string goes slack',
      'when you disarm it and when you pull the plug. Keep a way to get the hand out that needs no power.',
    ]),
  );
  console.log(`${file}: written. ${inWords(build)}`);
  console.log('It holds nothing of the wearer, the fits or this computer. Read it before you share it.');
  const renamed = [profile, ...profile.gloves]
    .map(({ name }) => name)
    .filter((name) => ![build, ...build.gloves].some((one) => one.name === name));
  if (renamed.length > 0 && hand === undefined) {
    console.log(
      `Names that hold a person's were replaced: ${renamed.map((name) => `"${name}"`).join(', ')}.`,
    );
  }
}

async function importBuild(
  file: string,
  path: string,
  { mirrored = false, sameReadings = false, hand, port }: ImportOptions,
): Promise<void> {
  if (sameReadings && !mirrored) {
    throw new TautlineError(
      'usage',
      '--same-readings says something of a mirrored glove.',
      'Add --mirrored.',
    );
  }
  const [{ buildOf, mirrorBuild, admitBuild }, { buildText }] = await Promise.all([
    import('../config/build.js'),
    import('../config/build-text.js'),
  ]);
  const shared = await readProfile(file);
  const gloves = glovesOf(shared, hand, file);
  if (mirrored && gloves.length > 1) {
    throw new TautlineError(
      'usage',
      `${file} has both hands.`,
      'Say with --hand which glove is to be mirrored.',
    );
  }
  const own = buildOf({ ...shared, gloves });
  const { build, heldBack } = admitBuild(mirrored ? mirrorBuild(own, { sameReadings }) : own);
  if (port !== undefined)
    build.gloves = build.gloves.map((glove, g) => withPort(glove, port, g, gloves.length));
  const from = `Taken from ${JSON.stringify(basename(file))} by \`tautline build import\`${mirrored ? ', mirrored for the other hand' : ''}.`;
  await writeNew(
    path,
    buildText(build, [
      from,
      "Counts, pulses and forces are those of somebody else's parts until you have checked and fitted yours.",
      '',
      'BEFORE YOU WEAR IT WITH FORCES: run it with the glove off the hand, arm it, and see that every string goes slack',
      'when you disarm it and when you pull the plug. Keep a way to get the hand out that needs no power.',
    ]),
  );
  console.log(`${path}: written. ${inWords(build)}`);
  const say = (text: string, mark = '! ') => {
    for (const [i, line] of wrap(text, COLUMNS - 2).entries()) console.log(`${i === 0 ? mark : '  '}${line}`);
  };
  for (const line of heldBack) say(line);
  if (mirrored) for (const line of mirroredNotes(build, sameReadings)) say(line);
  if (build.gloves.some(({ codec, actuators }) => codec.kind === 'lines' && actuators.length > 0))
    say(OWN_FIRMWARE);
  const pull = strongestPull(build);
  if (pull) say(pull);
  console.log('Next, with the servos unplugged for the first two:');
  for (const next of ['check', 'fit', 'run']) console.log(`  tautline ${next} --profile ${path}`);
}

/** What the maker has to see to, because no profile can. */
function mirroredNotes(build: Build, sameReadings: boolean): string[] {
  const [{ hand, codec, actuators, channels, link }] = build.gloves;
  const other = hand === 'left' ? 'right' : 'left';
  const frames = codec.kind === 'frames';
  const servos = actuators.filter(({ kind, role }) => kind === 'stringStop' && role !== 'spare').length > 0;
  return [
    sameReadings
      ? 'Sensors are taken to read as on the first glove.'
      : 'Sensors are taken to turn the other way: their two ends were exchanged. `tautline check` says which do not.',
    ...(servos && frames
      ? [
          'Servos turn the other way: exchange the two pulses of each finger in pins.h, off the hand, one servo at a time.',
        ]
      : []),
    ...(servos && !frames
      ? [
          'Servos turn the other way: the two pulses of each `servoUs` were exchanged. Try each off the hand, string off.',
        ]
      : []),
    ...(frames
      ? [
          `Set HAND to hand::${hand} in pins.h${link.kind === 'ble' ? `, and BLE_NAME to ${JSON.stringify(link.name ?? `Tautline ${hand}`)}` : ''}; a glove that calls itself ${other} is not taken for this one.`,
        ]
      : []),
    ...(channels.some(({ role }) => role.startsWith('stick.'))
      ? [
          'The stick is taken to be mounted upright, as on the first glove. If it runs the wrong way, `inverted: true` turns an axis.',
        ]
      : []),
    ...(channels.some(({ role }) => role.startsWith('wrist.'))
      ? ['The wrist sensor is taken to lie on the hand as on the first glove, not turned over.']
      : []),
  ];
}

/** By the figures in the file, which nobody here has measured. */
function strongestPull({ gloves, safety }: Build): string | undefined {
  const pulls = gloves
    .flatMap(({ actuators }) => actuators)
    .filter(({ kind, role }) => kind !== 'vibration' && role !== 'spare')
    .map(({ role, stallTorqueNm, spoolRadiusMm }) => ({
      role,
      newton: (1000 * stallTorqueNm) / spoolRadiusMm,
    }))
    .sort((a, b) => b.newton - a.newton);
  if (pulls.length === 0) return undefined;
  const [{ role, newton }] = pulls;
  return `Its strongest string (${role}) stalls at ${newton.toFixed(1)} N by its maker's figures, and the cap is ${safety.maxTensionN} N. With other servos or spools, give yours: a torque that is too small lets a string pull harder than its cap.`;
}

async function compareBuilds(
  first: string,
  second: string | undefined,
  { json }: { json?: boolean },
): Promise<void> {
  const { compareGloves } = await import('../config/compare-profiles.js');
  const a = await readProfile(first);
  const pairs: { about: string; sentences: string[] }[] = [];
  if (second === undefined) {
    if (a.gloves.length < 2) {
      throw new TautlineError(
        'usage',
        `${first} has one glove.`,
        'Name a second profile to compare it with.',
      );
    }
    const [one, other] = a.gloves.map((glove) => ({ called: `the ${glove.hand} glove`, glove }));
    pairs.push({ about: 'As mirror images', sentences: compareGloves(one, other) });
  } else {
    const b = await readProfile(second);
    for (const [gloveA, gloveB] of paired(a, b, first, second)) {
      const sides = gloveA.hand !== gloveB.hand;
      const called = (file: string, hand: HandSide) =>
        sides ? `the ${hand} glove` : nameOf(file, first, second);
      pairs.push({
        about: `${nameOf(first, first, second)} (${gloveA.hand}) and ${nameOf(second, first, second)} (${gloveB.hand})${sides ? ', as mirror images' : ''}`,
        sentences: compareGloves(
          { called: called(first, gloveA.hand), glove: gloveA, rest: a },
          { called: called(second, gloveB.hand), glove: gloveB, rest: b },
        ),
      });
    }
  }
  if (json) {
    console.log(JSON.stringify(pairs, null, 2));
    return;
  }
  for (const { about, sentences } of pairs) {
    console.log(`${about}:`);
    if (sentences.length === 0) console.log('  No difference.');
    for (const text of sentences) {
      for (const [i, line] of wrap(text, COLUMNS - 4).entries())
        console.log(`${i === 0 ? '  - ' : '    '}${line}`);
    }
  }
}

/** Gloves of the same hand; else the only one of each. */
function paired(
  a: Profile,
  b: Profile,
  first: string,
  second: string,
): [Profile['gloves'][0], Profile['gloves'][0]][] {
  const same = a.gloves.flatMap((glove): [Profile['gloves'][0], Profile['gloves'][0]][] => {
    const other = b.gloves.find(({ hand }) => hand === glove.hand);
    return other ? [[glove, other]] : [];
  });
  if (same.length > 0) return same;
  if (a.gloves.length === 1 && b.gloves.length === 1) return [[a.gloves[0], b.gloves[0]]];
  throw new TautlineError('usage', `${first} and ${second} have no hand in common.`, 'Compare others.');
}

const nameOf = (file: string, first: string, second: string): string =>
  basename(first) === basename(second) ? file : basename(file);

function glovesOf({ gloves }: Build, hand: HandSide | undefined, file: string): Build['gloves'] {
  const chosen = gloves.filter((glove) => hand === undefined || glove.hand === hand);
  if (chosen.length > 0) return chosen;
  throw new TautlineError(
    'usage',
    `${file} has no ${hand} glove.`,
    `It has: ${gloves.map((glove) => glove.hand).join(', ')}.`,
  );
}

function withPort(glove: Build['gloves'][0], port: string, index: number, count: number): Build['gloves'][0] {
  if (glove.link.kind !== 'serial' || count > 1) {
    throw new TautlineError(
      'usage',
      count > 1
        ? '--port names the port of one glove, and these are two.'
        : `gloves[${index}] has no serial port.`,
      count > 1 ? 'Choose one with --hand.' : 'Leave out --port.',
    );
  }
  return { ...glove, link: { ...glove.link, path: port } };
}

/** Tokens are nobody's business here, so a file that is named for one is not looked for. */
async function readProfile(path: string): Promise<Profile> {
  const { parseProfile, readProfileText } = await import('../config/load.js');
  return parseProfile(await readProfileText(path), path);
}

async function writeNew(path: string, text: string): Promise<void> {
  const [{ writeFile }, { parseProfile }] = await Promise.all([
    import('node:fs/promises'),
    import('../config/load.js'),
  ]);
  // What this program writes, it can read.
  parseProfile(text, path);
  try {
    await writeFile(path, text, { flag: 'wx' });
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    const why = code === 'EEXIST' ? 'it is there already' : `it cannot be written (${code})`;
    throw new TautlineError('fileDenied', `${path}: ${why}.`, 'Name another file; nothing is overwritten.');
  }
}

/** `Right glove: 7 sensors, 5 actuators, 3 buttons.` */
function inWords({ gloves }: Build): string {
  const count = (n: number, what: string) => `${n} ${what}${n === 1 ? '' : 's'}`;
  return gloves
    .map(({ hand, channels, actuators, buttons }) => {
      const used = (list: readonly { role: string }[]) => list.filter(({ role }) => role !== 'spare').length;
      return `${hand === 'left' ? 'Left' : 'Right'} glove: ${count(used(channels), 'sensor')}, ${count(used(actuators), 'actuator')}, ${count(Object.keys(buttons).length, 'button')}.`;
    })
    .join(' ');
}
