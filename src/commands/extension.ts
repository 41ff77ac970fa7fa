import { existsSync } from 'node:fs';
import type { Command } from 'commander';
import { TautlineError } from '../errors.js';
import { packageFile } from '../package-files.js';

export function addExtensionCommand(program: Command): void {
  program
    .command('extension')
    .description('Say where the browser extension is that gives web pages for headsets your hands.')
    .addHelpText('after', '\nExample:\n  tautline extension')
    .action(() => {
      const folder = packageFile('dist/extension');
      if (!existsSync(folder)) {
        throw new TautlineError('fileNotFound', `${folder}: it is not there.`, 'Install the program again.');
      }
      console.log(`The extension is the folder ${folder}
In Chromium or a browser made from it: open chrome://extensions, switch on Developer mode, press Load unpacked, and
choose that folder. Then open it by its button: it says what is next.`);
    });
}
