import { type Command, Option } from 'commander';
import { TautlineError } from '../errors.js';
import { notNegative } from './shared/numbers.js';

interface ExportOptions {
  form: 'skin' | 'rods';
  to: 'csv' | 'ndjson' | 'glb';
  output: string;
  from?: number;
  until?: number;
}

export function addExportCommand(program: Command): void {
  program
    .command('export')
    .description('Turn a session into a table, into lines of JSON, or into an animation for 3D programs.')
    .argument('<file>', 'a session')
    .addOption(
      new Option('--to <format>', 'csv, ndjson or glb (glTF 2.0)')
        .choices(['csv', 'ndjson', 'glb'])
        .makeOptionMandatory(),
    )
    .requiredOption('--output <file>', 'file to write')
    .addOption(
      new Option('--form <form>', 'of a glb: a skinned mesh, or a ball a joint and a tube a bone')
        .choices(['skin', 'rods'])
        .default('skin'),
    )
    .option('--from <s>', 'begin here, seconds from the start', notNegative)
    .option('--until <s>', 'end here', notNegative)
    .addHelpText('after', '\nExample:\n  tautline export morning.mcap --to glb --output morning.glb')
    .action(exportSession);
}

async function exportSession(file: string, options: ExportOptions): Promise<void> {
  const [{ openSession }, { createFileWriter }, { version }] = await Promise.all([
    import('../recording/session.js'),
    import('../recording/file-writer.js'),
    import('../install/version.js'),
  ]);
  const { from: fromS = 0, until: toS = Number.POSITIVE_INFINITY, output } = options;
  if (!(fromS < toS)) throw new TautlineError('usage', '--until must be later than --from.');
  const session = openSession(file);
  const out = createFileWriter(output);
  try {
    let what: string;
    if (options.to === 'glb') {
      const { exportGlb } = await import('../recording/export-glb.js');
      const bytes = exportGlb(session, { fromS, toS }, `tautline ${version}`, options.form);
      out.bytes(bytes);
      what = `${(bytes.length / 1e6).toFixed(2)} MB`;
    } else {
      const { exportCsv, exportNdjson } = await import('../recording/export-text.js');
      const lines = (options.to === 'csv' ? exportCsv : exportNdjson)(session, out, { fromS, toS });
      what = `${lines} lines`;
    }
    out.end();
    console.log(`${output}: ${what}`);
    const { chunks } = session.damage;
    if (chunks > 0) console.log(`${chunks} damaged parts of the session were left out.`);
  } catch (error) {
    out.abandon();
    throw error;
  } finally {
    session.close();
  }
}
