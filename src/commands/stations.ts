import type { Command } from 'commander';
import type { TautlineError } from '../errors.js';
import type { SeenStation } from '../fleet/stations.js';
import { type BrokerCommandOptions, brokerAddress, brokerOptions } from './shared/broker-options.js';

interface StationsOptions extends BrokerCommandOptions {
  once?: boolean;
  json?: boolean;
  listen?: string;
}

const REDRAW_MS = 500;
const LINES_MS = 5000;
/** What is retained comes at once; so long for the last of it. */
const SETTLE_MS = 700;
const CONNECT_WITHIN_MS = 8000;

export function addStationsCommand(program: Command): void {
  const command = program
    .command('stations')
    .description('Show the stations at a broker: who is on, which gloves, rate, battery, faults.');
  for (const option of brokerOptions()) command.addOption(option);
  command
    .option('--once', 'print the table and end')
    .option('--json', 'print JSON and end')
    .option('--listen <host:port>', 'serve the table as a page, and as /stations.json; on loopback alone')
    .addHelpText(
      'after',
      '\nExample:\n  tautline stations --broker mqtts://broker.lab:8883\n\nCtrl-C ends it.',
    )
    .action(stations);
}

async function stations(options: StationsOptions): Promise<void> {
  const [{ watchStations }, { stationLines }] = await Promise.all([
    import('../fleet/stations.js'),
    import('../fleet/station-table.js'),
  ]);
  let why: TautlineError | undefined;
  let opened = (): void => {};
  const open = new Promise<void>((resolve) => {
    opened = resolve;
  });
  const watched = watchStations({
    broker: brokerAddress(options),
    ...(options.site === undefined ? {} : { site: options.site }),
    clientId: `tautline-stations-${process.pid}-${Math.random().toString(36).slice(2, 8)}`,
    closed(error) {
      why = error;
    },
    opened() {
      why = undefined;
      opened();
    },
  });
  const list = (): SeenStation[] => watched.list.list();
  try {
    if (options.once || options.json) {
      const late = new Promise<void>((resolve) => setTimeout(resolve, CONNECT_WITHIN_MS));
      await Promise.race([open, late]);
      await new Promise((resolve) => setTimeout(resolve, SETTLE_MS));
      if (why) throw why;
      if (options.json) console.log(JSON.stringify(list(), null, 2));
      else for (const line of stationLines(list(), Date.now())) console.log(line);
      return;
    }
    if (options.listen !== undefined) {
      const { serveStations } = await import('../fleet/stations-page.js');
      const served = await serveStations(options.listen, list, () => why?.line);
      console.log(`Stations at ${served.address}. Ctrl-C ends.`);
      await stopped();
      await served.close();
      return;
    }
    await show(() => [
      ...(why ? [`${why.line} Trying again.`, ''] : []),
      ...stationLines(list(), Date.now()),
    ]);
  } finally {
    await watched.close();
  }
}

/** On a terminal, drawn again and again; into a pipe or a file, now and then. */
async function show(lines: () => string[]): Promise<void> {
  const screen = process.stdout.isTTY && process.env.TERM !== 'dumb';
  const draw = (): void => {
    const rows = (process.stdout.rows || 24) - 1;
    const columns = process.stdout.columns || 80;
    const text = lines()
      .slice(0, rows)
      .map((line) => `${line.slice(0, columns)}\x1b[K\n`);
    process.stdout.write(`\x1b[H${text.join('')}\x1b[J`);
  };
  if (screen) {
    process.stdout.write('\x1b[?1049h\x1b[?25l');
    process.on('exit', () => process.stdout.write('\x1b[?25h\x1b[?1049l'));
  }
  const timer = setInterval(
    screen ? draw : () => console.log(lines().join('\n')),
    screen ? REDRAW_MS : LINES_MS,
  );
  await stopped();
  clearInterval(timer);
}

const stopped = (): Promise<void> =>
  new Promise((resolve) => {
    for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP'] as const) process.once(signal, () => resolve());
    process.stdout.once('error', () => resolve());
  });
