import { type Command, Option } from 'commander';
import { notNegative } from './numbers.js';

/** `--until`, the end of a part everywhere; `--to`, its name of before, is still taken. */
export function addUntil(command: Command): Command {
  return command
    .option('--until <s>', 'end here, seconds from the start', notNegative)
    .addOption(new Option('--to <s>').argParser(notNegative).conflicts('until').hideHelp());
}
