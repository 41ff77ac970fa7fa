import type { Command } from 'commander';
import { EXIT_CODE, TautlineError } from '../errors.js';
import type { Session } from '../recording/session.js';
import { keepRunning } from './shared/lifetime.js';
import { notNegative, positive } from './shared/numbers.js';
import { addUntil } from './shared/until.js';

interface ReplayOptions {
  speed: number;
  from?: number;
  until?: number;
  to?: number;
  loop?: boolean;
  wait?: boolean;
  profile?: string;
  listen?: string;
  compare?: boolean;
  tolerance: number;
  json?: boolean;
  logLevel: string;
}

export function addReplayCommand(program: Command): void {
  const replayed = program
    .command('replay')
    .description('Serve a recorded session as if its gloves were here, or compare its joints with new ones.')
    .argument('<file>', 'a session')
    .option('--speed <n>', 'times the original pace, or max', speed, 1)
    .option(
      '--from <s>',
      'begin here, seconds from the start; with --compare, compare from here on',
      notNegative,
    );
  addUntil(replayed)
    .option('--loop', 'begin again at the end, with a clean state')
    .option('--wait', 'begin when the first app has subscribed')
    .option('--profile <file>', 'another profile, with the fits beside it, in place of the recorded one')
    .option('--listen <host:port>', 'address of the stream', '127.0.0.1:7117')
    .option('--compare', 'do not serve: compare the recorded joints with those computed now')
    .option(
      '--tolerance <n>',
      'greatest difference that agrees, mm and degrees (with --compare)',
      notNegative,
      0.01,
    )
    .option('--json', 'print JSON (with --compare)')
    .option('--log-level <level>', 'how much to log on stderr', 'warn')
    .addHelpText(
      'after',
      '\nExamples:\n  tautline replay morning.mcap --loop\n  tautline replay morning.mcap --wait --speed max\n  tautline replay morning.mcap --compare --profile new-fit.yaml\n\nWhat apps ask for is taken and logged (--log-level info); no glove moves. --compare ends with 0 if the joints agree, else with 1.',
    )
    .action((file: string, options: ReplayOptions, command: Command) => {
      refuseClashes(options, command);
      return options.compare ? compare(file, options) : replay(file, options);
    });
}

/** What would be left unheeded is refused. */
function refuseClashes(options: ReplayOptions, command: Command): void {
  const { from = 0, to, until = to ?? Number.POSITIVE_INFINITY, compare } = options;
  if (!(from < until)) {
    throw new TautlineError('usage', `--from ${from} is not before --until ${until}.`);
  }
  const idle = compare ? ['speed', 'until', 'to', 'loop', 'wait', 'listen'] : ['tolerance', 'json'];
  const given = idle.find((name) => command.getOptionValueSource(name) === 'cli');
  if (given) {
    throw new TautlineError('usage', `--${given} means nothing ${compare ? 'with' : 'without'} --compare.`);
  }
}

function refuseBeyondEnd({ file, startUs, endUs }: Session, fromS = 0): void {
  const lastS = (endUs - startUs) / 1e6;
  if (fromS < lastS) return;
  throw new TautlineError(
    'usage',
    `${file.path} has ${lastS.toFixed(2)} s: nothing lies after --from ${fromS}.`,
    'Give an earlier time.',
  );
}

async function replay(file: string, options: ReplayOptions): Promise<void> {
  const [
    { openSession },
    { createReplayLink },
    { createPlayer },
    { startService },
    { createLogger },
    { logCommands },
  ] = await Promise.all([
    import('../recording/session.js'),
    import('../recording/replay-link.js'),
    import('../recording/player.js'),
    import('../service.js'),
    import('../log/logger.js'),
    import('../recording/command-log.js'),
  ]);
  const session = openSession(file);
  refuseBeyondEnd(session, options.from);
  const recorded = session.profile;
  const profile = options.profile === undefined ? { ...recorded } : await loadProfile(options.profile);
  profile.gloves = profile.gloves.filter(({ hand }) => session.hands.includes(hand));
  if (profile.gloves.length === 0) {
    throw new TautlineError(
      'usage',
      `${file} has no hand of that profile; it has: ${session.hands.join(', ')}.`,
    );
  }
  const { parseAddress } = await import('../config/address.js');
  const address = parseAddress(options.listen ?? '');
  if (!address)
    throw new TautlineError('usage', `--listen ${options.listen} is not an address.`, 'Write HOST:PORT.');
  profile.stream = {
    ...profile.stream,
    host: address.host ?? '127.0.0.1',
    port: address.port ?? profile.stream.port,
  };
  const logger = createLogger(options.logLevel);
  const links: Map<'left' | 'right', ReturnType<typeof createReplayLink>> = new Map();
  const log = logCommands(logger);
  await keepRunning(logger, async () => {
    const service = await startService({
      profile,
      // Another profile brings the fits beside it.
      profileFile: options.profile,
      logger,
      replay(glove) {
        const link = createReplayLink({
          hand: glove.hand,
          name: file,
          frames: glove.codec.kind === 'frames',
          recordedFits: options.profile === undefined,
          written: log.written,
        });
        links.set(glove.hand, link);
        return link;
      },
    });
    const { from: fromS, to, until: toS = to, loop, speed } = options;
    const player = createPlayer({ session, links, speed, fromS, toS, loop });
    const { durationS } = player.state;
    console.log(`Replaying ${file} (${durationS.toFixed(1)} s) on ${service.address}`);
    if (!session.file.complete) {
      console.log('The recording was cut off: up to a second before its end is missing.');
    }
    if (options.wait) {
      console.log('It begins when an app has subscribed.');
      void service.subscribed.then(() => player.play());
    } else player.play();
    const close = async (): Promise<void> => {
      player.close();
      await service.close();
      session.close();
      console.log(`Replayed up to ${player.state.positionS.toFixed(1)} s; ${log.summary()}`);
    };
    void player.ended.then(() => {
      if (player.state.ended) process.emit('SIGTERM', 'SIGTERM');
    });
    return { close };
  });
}

async function compare(file: string, { profile, from, tolerance, json }: ReplayOptions): Promise<void> {
  const [{ openSession }, { compareSession }, { fitFileOf, openFits }] = await Promise.all([
    import('../recording/session.js'),
    import('../recording/compare.js'),
    import('../config/fit-file.js'),
  ]);
  const session = openSession(file);
  refuseBeyondEnd(session, from);
  const other = profile === undefined ? undefined : await loadProfile(profile);
  const fits = profile === undefined ? undefined : openFits(fitFileOf(profile), other?.wearer.name);
  const result = compareSession(session, other, fits, from);
  const { damage } = session;
  session.close();
  const agree =
    result.hands.some(({ frames }) => frames > 0) &&
    result.hands.every(
      ({ maxDistanceMm, maxAngleDeg, unmatched, statesDiffer }) =>
        maxDistanceMm <= tolerance && maxAngleDeg <= tolerance && unmatched === 0 && statesDiffer === 0,
    );
  if (json) console.log(JSON.stringify({ agree, tolerance, damage, ...result }, null, 2));
  else {
    for (const { hand, frames, unmatched, statesDiffer, joints } of result.hands) {
      console.log(`${hand} hand: ${frames} poses against ${result.against}`);
      if (unmatched > 0) console.log(`  ${unmatched} poses without a counterpart`);
      if (statesDiffer > 0) console.log(`  ${statesDiffer} poses with other finger states`);
      for (const { name, distanceMm, angleDeg, atS } of joints) {
        const differs = distanceMm > tolerance || angleDeg > tolerance;
        const where = differs ? `  at ${atS.toFixed(2)} s` : '';
        console.log(
          `  ${differs ? '!' : ' '} ${name.padEnd(34)}${distanceMm.toFixed(3).padStart(9)} mm${angleDeg.toFixed(3).padStart(9)} deg${where}`,
        );
      }
    }
    if (damage.chunks > 0) console.log(`${damage.chunks} damaged parts of the file were left out.`);
    console.log(agree ? 'The joints agree.' : `The joints differ by more than ${tolerance} mm or degrees.`);
  }
  if (!agree) process.exitCode = EXIT_CODE.failed;
}

const loadProfile = async (file: string) => (await import('../config/load.js')).loadProfile(file);

const speed = (text: string): number => (text === 'max' ? Number.POSITIVE_INFINITY : positive(text));
