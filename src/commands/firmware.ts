import { type Command, Option } from 'commander';
import { TautlineError } from '../errors.js';
import { HAND_SIDES, type HandSide } from '../hand/joints.js';
import type { Board } from '../install/firmware-files.js';
import {
  FIRMWARE_VERSION,
  type FirmwareReport,
  firmwareLine,
  firmwareReport,
  firmwareText,
} from '../protocol/firmware-versions.js';
import { waitForKey } from './shared/guide-screen.js';
import { type ServiceOptions, serviceUrl, tokenOption, urlOption } from './shared/service-url.js';
import { wrap } from './shared/wrap.js';

interface StatusOptions extends ServiceOptions {
  port?: string;
  baud?: number;
  json?: boolean;
}
interface UploadOptions extends ServiceOptions {
  port: string;
  fqbn: string;
  yes?: boolean;
}

const COLUMNS = 80;
const BAUDS = [115200, 230400, 250000, 460800, 500000, 921600];

export function addFirmwareCommand(program: Command): void {
  const command = program
    .command('firmware')
    .description("The glove's firmware: what runs, what an update brings, and how it gets onto the board.")
    .addHelpText(
      'after',
      `
To update:
  1. tautline firmware write my-firmware     your copy; its pins.h is yours, and stays as it is
  2. look at its pins.h: pins, pulses, hand
  3. tautline firmware upload my-firmware --port /dev/ttyUSB0
An ATmega328P is compiled and written with \`make\`; see docs/firmware.md. The glove stays off the hand meanwhile, and the
servo supply off.`,
    );
  command
    .command('status')
    .description('Say which firmware the glove runs, and what an update would bring.')
    .option('--port <path>', 'ask the glove at this port, instead of a running service')
    .option('--json', 'print JSON')
    .addOption(urlOption())
    .addOption(tokenOption())
    .addHelpText(
      'after',
      '\nExamples:\n  tautline firmware status\n  tautline firmware status --port /dev/ttyUSB0',
    )
    .action(status);
  command
    .command('write')
    .description('Write a copy of the firmware that is yours to set up, or bring one up to date.')
    .argument('<folder>', 'where; a pins.h that is there is kept')
    .addOption(new Option('--board <kind>', 'which board').choices(['esp32', 'avr']).default('esp32'))
    .addOption(new Option('--hand <side>', 'which hand a new pins.h is for').choices(HAND_SIDES))
    .addHelpText('after', '\nExample:\n  tautline firmware write my-firmware --hand left')
    .action(write);
  command
    .command('upload')
    .description('Compile your copy and write it to the board, with the arduino-cli that you have installed.')
    .argument('<folder>', 'your copy, as `tautline firmware write` made it')
    .requiredOption('--port <path>', 'serial port of the board')
    .option('--fqbn <name>', 'the board, as arduino-cli calls it', 'esp32:esp32:esp32')
    .option('--yes', 'do not ask: the glove is off the hand, and its servo supply off')
    .addOption(urlOption('a service that might have the glove'))
    .addOption(tokenOption())
    .addHelpText(
      'after',
      `
Example:
  tautline firmware upload my-firmware --port /dev/ttyUSB0

It says what it will do before it does it, and asks. It refuses while a glove is armed or a service has the port.`,
    )
    .action(upload);
}

async function status(options: StatusOptions): Promise<void> {
  const found = options.port === undefined ? await ofService(options) : [await ofPort(options.port, BAUDS)];
  if (options.json) {
    console.log(JSON.stringify(found, null, 2));
    return;
  }
  for (const { name, firmware } of found) {
    say(`${name}: ${firmware ? firmwareLine(firmware) : 'nothing was heard of it yet.'}`);
    for (const line of firmware?.brings ?? []) say(`New: ${line}`, '  - ');
    if (firmware?.state === 'old') say('To update: tautline firmware --help', '  ');
  }
}

interface Named {
  name: string;
  firmware?: FirmwareReport;
}

async function ofService({ url, token }: StatusOptions): Promise<Named[]> {
  const { askHealth } = await import('../doctor/status.js');
  const health = serviceUrl(url, 'http', '/health');
  const answer = await askHealth(health, token);
  if (answer.state === 'running') {
    return answer.health.gloves.map(({ name, hand, firmware }) => ({
      name: `${name} (${hand})`,
      ...(firmware === undefined ? {} : { firmware }),
    }));
  }
  if (answer.state === 'refused') {
    throw new TautlineError(
      'notPermitted',
      'The service requires its token.',
      'Give it with --token or TAUTLINE_TOKEN.',
    );
  }
  throw new TautlineError(
    'serviceUnreachable',
    `No service answers at ${health.host}.`,
    'Start one with `tautline run`, or name the port of the glove with --port.',
  );
}

async function ofPort(
  path: string,
  bauds: readonly number[],
): Promise<Named & { hand?: HandSide; channels?: number }> {
  const [{ meetGlove }, { serialPort }] = await Promise.all([
    import('../link/meet.js'),
    import('../link/serial-port.js'),
  ]);
  const met = await meetGlove({ open: (baud) => serialPort({ path, baud }), bauds, where: path });
  await met.close();
  const { hello } = met;
  return {
    name: path,
    firmware: firmwareReport(hello?.firmwareVersion),
    ...(hello ? { hand: hello.hand, channels: hello.channels.length } : {}),
  };
}

async function write(folder: string, { board, hand }: { board: Board; hand?: HandSide }): Promise<void> {
  const { writeFirmware, readFirmware } = await import('../install/firmware-files.js');
  const { kept } = writeFirmware(folder, board, hand);
  const { sketch, hand: set } = readFirmware(folder);
  console.log(
    `${folder}: firmware ${firmwareText(FIRMWARE_VERSION)} for ${board === 'avr' ? 'an ATmega328P' : 'an ESP32'}.`,
  );
  if (kept) {
    say(`${sketch}/pins.h was there, and is as it was (${set ?? 'no'} hand).`);
    if (hand !== undefined && hand !== set)
      say(`! It is for the ${set ?? 'other'} hand: set HAND in it yourself.`, '');
  } else {
    say(
      `! ${sketch}/pins.h is an example. Set pins, hand and servo pulses in it before anything is uploaded: pulses of other servos may drive yours against their ends.`,
      '',
    );
  }
  console.log('Next:');
  console.log(
    board === 'avr'
      ? `  make -C ${sketch} flash PORT=/dev/ttyUSB0`
      : `  tautline firmware upload ${folder} --port /dev/ttyUSB0`,
  );
}

async function upload(folder: string, options: UploadOptions): Promise<void> {
  const { port, fqbn, yes } = options;
  const [{ readFirmware }, tool] = await Promise.all([
    import('../install/firmware-files.js'),
    import('../install/board-tool.js'),
  ]);
  const firmware = readFirmware(folder);
  if (firmware.board === 'avr') {
    throw new TautlineError(
      'notSupported',
      `${folder} is for an ATmega328P, which is written with make.`,
      `Use: make -C ${firmware.sketch} flash PORT=${port}`,
    );
  }
  const file = tool.findBoardTool();
  if (!yes && !process.stdin.isTTY) {
    throw new TautlineError(
      'usage',
      'There is nobody here to ask.',
      'Look at what is said by `tautline firmware upload --help`, then give --yes.',
    );
  }
  await mustBeFree(options);

  const { sketch, library, version, hand } = firmware;
  const compile = tool.compileArgs(fqbn, library, sketch);
  const send = tool.uploadArgs(fqbn, port, sketch);
  const which = version === undefined ? 'firmware of no known version' : `firmware ${firmwareText(version)}`;
  console.log('What will be done:');
  say(`1. Compile ${sketch}: ${which}, ${hand ?? 'unknown'} hand.`, '  ');
  console.log(`       ${tool.BOARD_TOOL} ${compile.join(' ')}`);
  say(
    `2. ${yes ? 'Write' : 'Ask you, then write'} it to the board at ${port}. What the board holds now is lost.`,
    '  ',
  );
  console.log(`       ${tool.BOARD_TOOL} ${send.join(' ')}`);
  say(
    firmware.wireless ? '3. Leave it to you to connect by radio.' : '3. Ask the board what it runs then.',
    '  ',
  );
  say(
    '! Take the glove off the hand and switch the servo supply off: while a board is written and restarts, its pins float and servos may move.',
    '',
  );
  if (version !== undefined && version < FIRMWARE_VERSION) {
    say(
      `! ${firmwareText(FIRMWARE_VERSION)} comes with this program: \`tautline firmware write ${folder}\` brings your copy up to date.`,
      '',
    );
  }
  await tool.runBoardTool(file, compile);
  if (!yes) {
    process.stdout.write('Compiled. Glove off the hand, servo supply off?  Enter: write it   q: leave it ');
    if (!(await waitForKey())) {
      console.log('\nLeft as it is; nothing was written.');
      return;
    }
    console.log('');
  }
  // Compiling takes a while: somebody may have armed it since.
  await mustBeFree(options);
  await tool.runBoardTool(file, send);
  if (firmware.wireless) {
    console.log('Written. Connect it, then: tautline firmware status');
    return;
  }
  const bauds = [...new Set([firmware.baud ?? BAUDS[0], ...BAUDS])];
  const { firmware: runs, ...read } = await ofPort(port, bauds);
  const says = runs?.version ?? 'no version';
  if (version !== undefined && runs?.version !== firmwareText(version)) {
    throw new TautlineError(
      'portFailed',
      `The board at ${port} says ${says}, not ${firmwareText(version)}.`,
      'It runs something else still: see that --port and --fqbn are those of the glove, and upload again.',
    );
  }
  console.log(`Written, and read back: firmware ${says}, ${read.hand} hand, ${read.channels} channels.`);
  console.log('Before you wear it: the steps of "First power" in docs/wiring.md, glove off the hand.');
}

/** @throws TautlineError while a glove is armed, or somebody has the port */
async function mustBeFree({ url, token, port }: UploadOptions): Promise<void> {
  const [{ askHealth }, { findHolders }] = await Promise.all([
    import('../doctor/status.js'),
    import('../link/port-holders.js'),
  ]);
  const answer = await askHealth(serviceUrl(url, 'http', '/health'), token);
  if (answer.state === 'refused') {
    throw new TautlineError(
      'notPermitted',
      'A service runs, and without its token nobody can say whether a glove is armed.',
      'Give it with --token or TAUTLINE_TOKEN, or end the service.',
    );
  }
  if (answer.state === 'running') {
    const armed = answer.health.gloves.find((glove) => glove.armed);
    if (armed) {
      throw new TautlineError(
        'notPermitted',
        `The ${armed.hand} glove is armed, and nothing is written to a board meanwhile.`,
        'Disarm it (`tautline disarm`), and take the glove off.',
      );
    }
  }
  const holders = (await findHolders([port])).get(port) ?? [];
  if (holders.length > 0) {
    throw new TautlineError(
      'portBusy',
      `${port} is held by ${holders.join(' and ')}.`,
      'End it first; a service lets go of the port when it ends.',
    );
  }
}

function say(text: string, indent = ''): void {
  for (const [i, line] of wrap(text, COLUMNS - indent.length).entries()) {
    console.log(`${i === 0 ? indent : ' '.repeat(indent.length)}${line}`);
  }
}
