import { existsSync } from 'node:fs';
import { setFlagsFromString } from 'node:v8';
import { type Command, Option } from 'commander';
import type { Logger } from 'pino';
import type { Profile } from '../config/schema.js';
import { TautlineError } from '../errors.js';
import { logEvent } from '../log/events.js';
import { packageFile } from '../package-files.js';
import { keepRunning } from './shared/lifetime.js';

export interface RunOptions {
  profile?: string;
  port?: string;
  person?: string;
  listen?: string;
  tokenFile?: string;
  sessions?: string;
  logFile?: string;
  logLevel: string;
}

/** The profile of the simulated glove, which comes with the program. */
const SIMULATED = packageFile('config/simulated.yaml');
const LOG_LEVELS = ['silent', 'fatal', 'error', 'warn', 'info', 'debug', 'trace'];

export function addRunCommand(program: Command): void {
  program
    .command('run')
    .description('Run the service until it is stopped: gloves in, hands out on a WebSocket.')
    .option(
      '--profile <file>',
      'your gloves and you; when left out, glove.yaml in the configuration folder, or else the simulated glove',
    )
    .option('--port <path>', "serial port, in place of the profile's")
    .option(
      '--listen <host:port>',
      "address of the stream, in place of the profile's; port 0 picks a free one",
    )
    .option('--token-file <file>', "file with the token that apps must give, in place of the profile's")
    .option(
      '--sessions <folder>',
      'where apps and the page record sessions; your own data folder when left out',
    )
    .option('--person <name>', 'whose fit to use, when several people wear the glove')
    .addOption(
      new Option('--log-level <level>', 'how much to log on stderr').choices(LOG_LEVELS).default('warn'),
    )
    .option('--log-file <file>', 'log into a file of at most 5 MB, four of them in turn, in place of stderr')
    .addHelpText(
      'after',
      '\nExamples:\n  tautline run\n  tautline run --profile my-glove.yaml --port /dev/ttyUSB0\n\nCtrl-C frees every finger and ends it. Gloves start disarmed: see `tautline arm --help`.',
    )
    .action((options: RunOptions) => run(options));
}

/** What is said once the service is there, and after what it says itself. @param address of the page */
type Ready = (address: string) => void;

/**
 * Runs the service until it is stopped.
 * @param options.builtIn profile in place of the simulated glove, for a user who has none
 */
export async function run(options: RunOptions & { builtIn?: string }, ready?: Ready): Promise<void> {
  keepYoungHeapSmall();
  const [{ loadProfile }, { userPaths }] = await Promise.all([
    import('../config/load.js'),
    import('../install/paths.js'),
  ]);
  const paths = userPaths();
  const own = options.profile ?? (existsSync(paths.profile) ? paths.profile : undefined);
  const profile = await loadProfile(own ?? options.builtIn ?? SIMULATED);
  if (options.tokenFile !== undefined) {
    const { readTokenFile } = await import('../config/token-file.js');
    profile.stream.token = await readTokenFile(options.tokenFile);
  }
  if (options.listen !== undefined) await listenOn(profile, options.listen);
  if (options.port !== undefined) checkPortOverride(profile, own);
  const [{ startService }, { createLogger }, { createLifeCheck, createNotifier }] = await Promise.all([
    import('../service.js'),
    import('../log/logger.js'),
    import('../install/notify.js'),
  ]);
  const sessionsFolder = options.sessions ?? paths.sessions;
  const logger = createLogger(options.logLevel, options.logFile);
  await keepRunning(logger, async () => {
    const service = await startService({
      profile,
      profileFile: own,
      ...(own === undefined ? { shippedProfile: SIMULATED } : {}),
      person: options.person,
      portOverride: options.port,
      logger,
      sessionsFolder,
      keyFolders: paths.runtime,
      pairingFile: paths.pairings,
    });
    const forget = await writeDiscoveryFile(service.address, profile, logger);
    if (options.profile === undefined && own !== undefined) console.log(`The profile is ${own}`);
    const says = `listening on ${service.address} (${describeGloves(profile)})`;
    console.log(`Tautline is ${says}`);
    const notifier = createNotifier({ logger, alive: createLifeCheck(service.gloves) });
    ready?.(service.address.replace(/^ws/, 'http').replace(/\/stream$/, ''));
    notifier?.ready(says);
    return {
      async close() {
        notifier?.stopping();
        await Promise.all([service.close(), forget?.()]);
      },
    };
  });
}

/** For programs of the same user that look for the service. @returns takes it back */
async function writeDiscoveryFile(
  url: string,
  { stream: { token }, openxr: { allow, deny, world } }: Profile,
  logger: Logger,
): Promise<(() => Promise<void>) | undefined> {
  const discovery = await import('../stream/discovery.js');
  const file = discovery.discoveryFile();
  if (file === undefined) return undefined;
  const { programName } = await import('../protocol/program-name.js');
  const names = {
    ...(allow === undefined ? {} : { allow: allow.map(programName) }),
    deny: deny.map(programName),
    ...(world === 'stage' ? { world } : {}),
  };
  const usual = allow === undefined && deny.length === 0 && world === 'local';
  const openxr = usual ? {} : { openxr: names };
  try {
    return await discovery.writeDiscoveryFile(file, {
      url,
      ...(token && { token }),
      pid: process.pid,
      ...openxr,
    });
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error);
    logEvent(logger, 'service.whereaboutsUntold', {}, `other programs cannot look up the address: ${why}`);
    return undefined;
  }
}

/**
 * Every write to a socket leaves some garbage that is dead at once. Left to itself V8 lets it pile up to 32 MB before
 * it looks; at its first size, 2 MB, it looks more often, finds nearly nothing alive, and pauses for less.
 */
function keepYoungHeapSmall(): void {
  setFlagsFromString('--semi-space-growth-factor=1');
}

async function listenOn({ stream }: Profile, text: string): Promise<void> {
  const { parseAddress } = await import('../config/address.js');
  const address = parseAddress(text);
  if (!address) {
    throw new TautlineError(
      'usage',
      `--listen ${text} is not an address.`,
      'Write HOST:PORT, such as 127.0.0.1:7117.',
    );
  }
  stream.host = address.host ?? stream.host;
  stream.port = address.port ?? stream.port;
}

/** One port cannot stand for two gloves, nor for one without a port. */
function checkPortOverride({ gloves }: Profile, file: string | undefined): void {
  const serial = gloves.filter(({ link }) => link.kind === 'serial').length;
  if (serial === 1) return;
  throw new TautlineError(
    'usage',
    `--port needs a profile with one serial glove; ${file ?? 'the simulated one'} has ${serial}.`,
    file === undefined ? 'Name yours with --profile.' : 'Put a path under link of each glove instead.',
  );
}

/** `1 glove: right, simulated`. */
export function describeGloves({ gloves }: Profile): string {
  const each = gloves.map(({ hand, link }) => `${hand}, ${link.kind}`).join('; ');
  return `${gloves.length} ${gloves.length === 1 ? 'glove' : 'gloves'}: ${each}`;
}
