import { hostname } from 'node:os';
import type { Command } from 'commander';
import type { TautlineError } from '../errors.js';
import {
  type BrokerCommandOptions,
  brokerAddress,
  brokerOptions,
  topicName,
} from './shared/broker-options.js';
import { keepRunning } from './shared/lifetime.js';
import { notNegative, positive } from './shared/numbers.js';

interface CollectOptions extends BrokerCommandOptions {
  output: string;
  name?: string;
  group: string;
  maxMb: number;
  maxMinutes: number;
  keepFreeMb: number;
  hold: number;
}

const SAY_MS = 10_000;

export function addCollectCommand(program: Command): void {
  const command = program
    .command('collect')
    .description('Record what stations publish to a broker: a session for each, in FOLDER/SITE/STATION.')
    .requiredOption('--output <folder>', 'where the sessions go');
  for (const option of brokerOptions()) command.addOption(option);
  command
    .option(
      '--name <name>',
      'of this collector, its own among all; made from the name of the machine when left out',
      topicName,
    )
    .option('--group <name>', 'collectors of a group share the work', topicName, 'recorders')
    .option('--max-mb <n>', 'begin another file at this size', positive, 1000)
    .option('--max-minutes <n>', 'begin another file after this time', positive, 60)
    .option('--keep-free-mb <n>', 'leave so much of the disk free', positive, 1000)
    .option(
      '--hold <s>',
      'how long the broker keeps what is ours while we are away; for a collector that is alone',
      notNegative,
      0,
    )
    .addHelpText(
      'after',
      '\nExample:\n  tautline collect --broker mqtts://broker.lab:8883 --output sessions\n\nStations publish what is recorded when their profile says so: fleet.publish with raw. If it is killed, at most one second is lost. Pieces that several collectors wrote are joined by `tautline session join`.',
    )
    .action(collect);
}

async function collect(options: CollectOptions): Promise<void> {
  const [{ startCollecting }, { createLogger }, { mkdir }, { writeError }, { readSecretFile }] =
    await Promise.all([
      import('../fleet/collect.js'),
      import('../log/logger.js'),
      import('node:fs/promises'),
      import('../recording/file-sink.js'),
      import('../config/secret-file.js'),
    ]);
  const { output, group, site, maxMb, maxMinutes, keepFreeMb, hold } = options;
  const name = options.name ?? ownName();
  await mkdir(output, { recursive: true }).catch((error) => {
    throw writeError(output, error, true);
  });
  if (options.passwordFile !== undefined) await readSecretFile(options.passwordFile);
  await keepRunning(createLogger('warn'), async () => {
    const collecting = startCollecting({
      broker: brokerAddress(options),
      folder: output,
      name,
      group,
      ...(site === undefined ? {} : { site }),
      maxBytes: maxMb * 1e6,
      maxSeconds: maxMinutes * 60,
      keepFree: keepFreeMb * 1e6,
      keepsForS: hold,
      began: ({ site: of, station }, file) => console.log(`${of}/${station}: ${file}`),
      changed(state) {
        if (state.state === 'collecting')
          console.log(`Collecting as ${name} of ${group} into ${output}. Ctrl-C ends.`);
        else sayTrouble(state.why);
      },
    });
    let before = '';
    const timer = setInterval(() => {
      const { stations, open, segments, bytes, duplicates, refused } = collecting.counts;
      const lost = Object.entries(refused).filter(([, count]) => count > 0);
      const line = `${stations} stations, ${open} files open, ${segments} segments, ${(bytes / 1e6).toFixed(1)} MB${duplicates > 0 ? `, ${duplicates} came twice` : ''}${lost.map(([why, count]) => `, ${count} refused (${REFUSED[why]})`).join('')}`;
      if (line !== before) console.log(line);
      before = line;
    }, SAY_MS);
    return {
      async close() {
        clearInterval(timer);
        await collecting.close();
        const { files, segments, bytes } = collecting.counts;
        console.log(`${files} files, ${segments} segments, ${(bytes / 1e6).toFixed(2)} MB`);
      },
    };
  });
}

const REFUSED: Record<string, string> = {
  notSound: 'not sound',
  tooMuch: 'more than a station may send',
  tooMany: 'too many stations or sessions',
  noStart: 'no start of their session came',
};

/** One collector a machine needs no name; two on one machine do. */
const ownName = (): string =>
  hostname()
    .replaceAll(/[^A-Za-z0-9._-]/g, '-')
    .replace(/^[^A-Za-z0-9]+/, '')
    .slice(0, 40) || 'collector';

const sayTrouble = (why: TautlineError): void => void process.stderr.write(`tautline: ${why.line}\n`);
