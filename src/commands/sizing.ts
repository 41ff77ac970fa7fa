import { type Command, InvalidArgumentError } from 'commander';
import type { SizingInput } from '../sensing/sizing.js';
import { wrap } from './shared/wrap.js';

type Numbers = { [K in keyof SizingInput as SizingInput[K] extends number ? K : never]: number };

/** Option, its unit, its meaning, and the range in which it makes sense. */
const OPTIONS: Record<keyof Numbers, [flag: string, text: string, min: number, max: number]> = {
  spoolRadiusMm: ['--spool <mm>', 'radius of the spool on the potentiometer', 1, 100],
  potTravelDeg: ['--pot <deg>', 'turn over which the potentiometer reads 0 to full', 10, 36000],
  converterBits: ['--bits <n>', 'bits of the converter', 6, 16],
  handLengthMm: ['--hand <mm>', 'wrist crease to the tip of the middle finger', 100, 300],
  servoTorqueNm: ['--torque <Nm>', 'stall torque of the servo (1.5 kg cm is 0.15)', 0.001, 20],
  servoS60: ['--speed <s>', 'time of the servo for 60 degrees', 0.01, 5],
  servoRadiusMm: ['--servo-spool <mm>', 'radius at which the servo pulls', 1, 100],
  servoStallA: ['--stall <A>', 'current of one stalled servo', 0.01, 50],
  servos: ['--servos <n>', 'servos on the supply', 1, 16],
  supplyA: ['--supply <A>', 'what the supply gives without sagging', 0.1, 100],
  idleA: ['--rest <A>', 'current of board and servos at rest', 0.001, 20],
  heldPart: ['--held <part>', 'part of the time that fingers are held, 0 to 1', 0, 1],
  batteryMah: ['--battery <mAh>', 'capacity, for the run time', 1, 1e6],
  maxTensionN: ['--cap <N>', 'largest tension wanted', 0.1, 50],
};
const COLUMNS = 80;

export function addSizingCommand(program: Command): void {
  const command = program
    .command('sizing')
    .description('Before you buy or print: what a spool, a potentiometer, a servo and a supply will do.');
  for (const [flag, text, min, max] of Object.values(OPTIONS)) {
    command.option(flag, text, numberWithin(min, max));
  }
  command
    .option('--heights <mm,mm,mm>', 'string over knuckle, middle and last joint, from your ruler', heights)
    .option('--json', 'print JSON')
    .addHelpText('after', '\nExample:\n  tautline sizing --spool 9 --pot 300 --torque 0.16 --battery 2500')
    .action(async (options: Record<string, unknown>) => {
      const { sizeGlove, SIZING_DEFAULTS } = await import('../sensing/sizing.js');
      const input = { ...SIZING_DEFAULTS };
      for (const [key, [flag]] of Object.entries(OPTIONS)) {
        const given = options[nameOf(flag)];
        if (given !== undefined) input[key as keyof Numbers] = given as number;
      }
      if (options.heights) input.heightsMm = options.heights as [number, number, number];
      const sizing = sizeGlove(input);
      if (options.json) {
        const { figures, warnings } = sizing;
        const plain = Object.fromEntries(figures.map(({ name, value, unit }) => [name, { value, unit }]));
        console.log(JSON.stringify({ input, figures: plain, warnings }, null, 2));
        return;
      }
      const { round } = await import('../sensing/sizing.js');
      for (const { text, value, unit, formula } of sizing.figures) {
        console.log(`${text.padEnd(42)}${round(value).padStart(8)} ${unit}`);
        for (const line of wrap(formula, COLUMNS - 4)) console.log(`    ${line}`);
      }
      console.log('');
      if (sizing.warnings.length === 0) console.log('Nothing to warn of.');
      for (const warning of sizing.warnings) {
        for (const [i, line] of wrap(warning, COLUMNS - 2).entries())
          console.log(`${i === 0 ? '! ' : '  '}${line}`);
      }
    });
}

/** Name that the parser gives the value of a flag. */
const nameOf = (flag: string) =>
  flag
    .slice(2)
    .split(' ')[0]
    .replace(/-(\w)/g, (_, letter: string) => letter.toUpperCase());

function numberWithin(min: number, max: number): (text: string) => number {
  return (text) => {
    const value = Number(text);
    if (text.trim() === '' || !(value >= min && value <= max)) {
      throw new InvalidArgumentError(`Give a number from ${min} to ${max}.`);
    }
    return value;
  };
}

function heights(text: string): number[] {
  const values = text.split(',').map(Number);
  if (values.length !== 3 || values.some((value) => !(value > 0 && value <= 60))) {
    throw new InvalidArgumentError('Give three heights in mm, such as 12,8,6.');
  }
  return values;
}
