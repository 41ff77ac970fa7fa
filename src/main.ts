import { Command, CommanderError } from 'commander';
import { addArmCommands } from './commands/arm.js';
import { addBuildCommand } from './commands/build.js';
import { addCheckCommand } from './commands/check.js';
import { addCollectCommand } from './commands/collect.js';
import { addDemoCommand } from './commands/demo.js';
import { addDoctorCommands } from './commands/doctor.js';
import { addExportCommand } from './commands/export.js';
import { addExtensionCommand } from './commands/extension.js';
import { exitCodeOf, sayFailure } from './commands/failure.js';
import { addFeelCommand } from './commands/feel.js';
import { addFirmwareCommand } from './commands/firmware.js';
import { addFitCommand } from './commands/fit.js';
import { addInfoCommand } from './commands/info.js';
import { addInstallCommands } from './commands/install.js';
import { addNewCommand } from './commands/new.js';
import { addOpenxrCommands } from './commands/openxr.js';
import { addPortsCommand } from './commands/ports.js';
import { addRecordCommand } from './commands/record.js';
import { addReplayCommand } from './commands/replay.js';
import { addRunCommand } from './commands/run.js';
import { addSessionCommand } from './commands/session.js';
import { addSizingCommand } from './commands/sizing.js';
import { addStationsCommand } from './commands/stations.js';
import { addWatchCommand } from './commands/watch.js';
import { addWearCommand } from './commands/wear.js';
import { EXIT_CODE } from './errors.js';
import { version } from './install/version.js';

/**
 * The command line. Each command declares itself in a file of its own and imports what is heavy only when it
 * runs, so that help and mistakes are answered at once.
 */

/** One line of what and what to do, from the parser's two. */
function mistake(text: string): string {
  const line = text
    .replace(/^error: /, '')
    .trim()
    .replaceAll('\n', ' ');
  const asked = process.argv[2] ?? '';
  const known = program.commands.some((command) => command.name() === asked);
  // A suggestion, or the choices there are, says what to do.
  if (line.endsWith('?)') || / is invalid\. /.test(line)) return line;
  return `${line.replace(/\.?$/, '.')} See \`tautline${known ? ` ${asked}` : ''} --help\`.`;
}

const program = new Command('tautline')
  .description('Turns a home-built force-feedback glove into a hand that any app can see and touch.')
  .version(version, '-V, --version', 'print the version')
  .helpOption('-h, --help', 'print help')
  .helpCommand('help [command]', 'print help for a command')
  .exitOverride()
  .configureOutput({
    // The parser says `error: …` and puts its suggestion on a line of its own.
    outputError: (text, write) => write(`tautline: ${mistake(text)}\n`),
  })
  .addHelpText(
    'after',
    `
Examples:
  tautline run                           a simulated glove, nothing to plug in
  tautline new                           write a profile for a glove that is plugged in
  tautline run --profile my-glove.yaml   your own
  tautline check --profile my-glove.yaml is every sensor wired and well?
  tautline fit --profile my-glove.yaml   fit it to your hand
  tautline watch                         see what it does

Exit codes: ${EXIT_CODE.ok} well, ${EXIT_CODE.failed} a failed check, ${EXIT_CODE.usage} command line, ${EXIT_CODE.profileInvalid} profile, ${EXIT_CODE.portMissing} port, ${EXIT_CODE.addressInUse} address, ${EXIT_CODE.fileNotFound} file, ${EXIT_CODE.serviceUnreachable} no service, ${EXIT_CODE.internal} fault in the program.`,
  );
addRunCommand(program);
addWatchCommand(program);
addWearCommand(program);
addArmCommands(program);
addNewCommand(program);
addCheckCommand(program);
addFitCommand(program);
addFeelCommand(program);
addPortsCommand(program);
addSizingCommand(program);
addBuildCommand(program);
addFirmwareCommand(program);
addRecordCommand(program);
addReplayCommand(program);
addInfoCommand(program);
addExportCommand(program);
addSessionCommand(program);
addCollectCommand(program);
addStationsCommand(program);
addInstallCommands(program);
addDoctorCommands(program);
addOpenxrCommands(program);
addExtensionCommand(program);
addDemoCommand(program);

/** Does what the command line says. Never rejects: what went wrong is said, and in the exit code. */
export async function main(): Promise<void> {
  // A reader that ends early (`| head`) is not a fault.
  process.stdout.on('error', (error: NodeJS.ErrnoException) => {
    if (error.code !== 'EPIPE') throw error;
  });
  try {
    await program.parseAsync();
  } catch (error) {
    if (error instanceof CommanderError)
      process.exitCode = error.exitCode === 0 ? EXIT_CODE.ok : EXIT_CODE.usage;
    else {
      sayFailure(error);
      process.exitCode = exitCodeOf(error);
      // Whatever a command left open does not keep a failed process alive.
      setTimeout(() => process.exit(), 1000).unref();
    }
  }
}
