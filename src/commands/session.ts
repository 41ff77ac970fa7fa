import { type Command, Option } from 'commander';
import type { FileWriter } from '../recording/file-writer.js';
import type { Session } from '../recording/session.js';
import { notNegative } from './shared/numbers.js';
import { addUntil } from './shared/until.js';

interface CutOptions {
  from: number;
  until?: number;
  to?: number;
  output: string;
}

export function addSessionCommand(program: Command): void {
  const command = program
    .command('session')
    .description(
      'Make a new session of old ones: cut, merge, join, anonymise. The old ones stay as they are.',
    );
  const output = () => new Option('--output <file>', 'session to write').makeOptionMandatory();
  const cut = command
    .command('cut')
    .description('Keep a part.')
    .argument('<file>', 'a session')
    .addOption(output())
    .option('--from <s>', 'begin here, seconds from the start', notNegative, 0);
  addUntil(cut)
    .addHelpText(
      'after',
      '\nExample:\n  tautline session cut morning.mcap --from 12 --until 20 --output grasp.mcap',
    )
    .action((file: string, { from, to, until = to, output }: CutOptions) =>
      write([file], output, async ([session], out) => {
        const { cutSession } = await import('../recording/edit.js');
        cutSession(session, out, { fromS: from, toS: until ?? Number.POSITIVE_INFINITY });
      }),
    );
  command
    .command('merge')
    .description('Put a left and a right hand into one session, on the clock of the first.')
    .argument('<first>', 'a session of one hand')
    .argument('<second>', 'a session of the other hand')
    .addOption(output())
    .option(
      '--shift <s>',
      'start of the second after that of the first, seconds; by the time of day when left out',
      Number,
    )
    .addHelpText('after', '\nExample:\n  tautline session merge left.mcap right.mcap --output both.mcap')
    .action((first: string, second: string, { shift, output }: { shift?: number; output: string }) =>
      write([first, second], output, async ([a, b], out) => {
        const { mergeSessions } = await import('../recording/edit.js');
        mergeSessions(a, b, out, shift);
      }),
    );
  command
    .command('join')
    .description(
      'Put the pieces of one session together that collectors wrote, by the numbers of their segments.',
    )
    .argument('<files...>', 'pieces of one run of a station')
    .addOption(output())
    .addHelpText(
      'after',
      '\nExample:\n  tautline session join sessions/lab-a/bench-01/*.mcap --output whole.mcap',
    )
    .action((files: string[], { output }: { output: string }) =>
      write(files, output, async (sessions, out) => {
        const { joinSessions } = await import('../recording/join.js');
        const { segments, duplicates, missing } = joinSessions(sessions, out);
        console.log(
          `${segments} segments, ${duplicates} of them twice, ${missing} missing${missing > 0 ? ': they are gaps' : ''}`,
        );
      }),
    );
  command
    .command('anonymise')
    .description('Take out device ids, names of people, gloves, ports and apps, and all notes.')
    .argument('<file>', 'a session')
    .addOption(output())
    .addHelpText('after', '\nExample:\n  tautline session anonymise morning.mcap --output shared.mcap')
    .action((file: string, { output }: { output: string }) =>
      write([file], output, async ([session], out) => {
        const { anonymiseSession } = await import('../recording/edit.js');
        anonymiseSession(session, out);
      }),
    );
}

async function write(
  files: readonly string[],
  output: string,
  act: (sessions: Session[], out: FileWriter) => Promise<void>,
): Promise<void> {
  const [{ openSession }, { createFileWriter }] = await Promise.all([
    import('../recording/session.js'),
    import('../recording/file-writer.js'),
  ]);
  const sessions = files.map(openSession);
  const out = createFileWriter(output);
  try {
    await act(sessions, out);
    out.end();
  } catch (error) {
    out.abandon();
    throw error;
  }
  const lost = sessions.reduce((sum, { damage }) => sum + damage.chunks, 0);
  for (const session of sessions) session.close();
  console.log(`${output}: written${lost > 0 ? `; ${lost} damaged parts were left out` : ''}`);
}
