import { EXIT_CODE, TautlineError } from '../errors.js';
import type { FromUseAnswer } from '../glove/from-use-routes.js';
import type { GuideClient } from './shared/guide-client.js';
import { waitForKey } from './shared/guide-screen.js';
import { wrap } from './shared/wrap.js';

/** `tautline fit --from-use`: what was learned from ordinary motion; taken if the wearer says so. */

const COLUMNS = 80;
const POLL_MS = 2000;
/** Motion after which it is not worth waiting for more, s. */
const ENOUGH_S = 120;

export async function fitFromUse(
  client: GuideClient,
  json: boolean,
  person: Record<string, string>,
): Promise<void> {
  const out = json ? process.stderr : process.stdout;
  const learned = await watch(client, out);
  if (!learned) {
    process.exitCode = EXIT_CODE.interrupted;
    out.write('Given up; nothing was changed.\n');
    return;
  }
  for (const line of fromUseLines(learned)) out.write(`${line}\n`);
  if (changes(learned) === 0) {
    if (json) console.log(JSON.stringify(learned, null, 2));
    if (learned.asInUse.length > 0) return;
    throw new TautlineError(
      'notSupported',
      'Not enough was seen to propose a fit.',
      'Use the hand some more, or fit it with `tautline fit`.',
    );
  }
  if (!process.stdin.isTTY) {
    if (json) console.log(JSON.stringify(learned, null, 2));
    out.write('\nNothing was changed: without keys, take it on the page.\n');
    return;
  }
  out.write('\nUse it?  Enter: use it   q: leave everything as it is ');
  if (!(await waitForKey())) {
    out.write('\nNothing was changed.\n');
    return;
  }
  const kept = await client.ask<FromUseAnswer>('POST', '/fits/from-use', person);
  out.write('\nIn use, and kept; the glove is disarmed. `tautline fit --undo` goes back.\n');
  if (json) console.log(JSON.stringify(kept, null, 2));
}

const changes = ({ channels, controls, stickDeadZone }: FromUseAnswer): number =>
  channels.length + controls.length + (stickDeadZone === undefined ? 0 : 1);

/** A running service has been looking on; without one, it begins now. @returns undefined when the wearer gave up */
async function watch(client: GuideClient, out: NodeJS.WriteStream): Promise<FromUseAnswer | undefined> {
  const ask = () => client.ask<FromUseAnswer>('GET', '/fits/from-use');
  let learned = await ask();
  if (isEnough(learned) || !process.stdin.isTTY) return learned;
  out.write('Wear the glove and do what you like with the hand, for two minutes of motion: grip things,\n');
  out.write('make a fist now and then, stretch the hand flat, point at something.\n');
  let key: boolean | undefined;
  const enough = new AbortController();
  const pressed = waitForKey(enough.signal).then((go) => {
    if (!enough.signal.aborted) key = go;
  });
  while (key === undefined && !isEnough(learned)) {
    if (out.isTTY) out.write(`\r\x1b[K  ${progress(learned)}   Enter: show it   q: give up`);
    await new Promise((resolve) => setTimeout(resolve, POLL_MS));
    learned = await ask();
  }
  if (out.isTTY) out.write('\r\x1b[K');
  enough.abort();
  await pressed;
  return key === false ? undefined : learned;
}

/** All that can be learned has been, or it was long enough. */
const isEnough = (learned: FromUseAnswer): boolean =>
  (learned.missing.length === 0 && seenOf(learned) > 0) || learned.seconds >= ENOUGH_S;
const seenOf = ({ channels, controls, asInUse }: FromUseAnswer): number =>
  channels.length + controls.length + asInUse.length;

const progress = (learned: FromUseAnswer): string =>
  `${Math.round(learned.seconds)} s of motion, ${seenOf(learned)} of ${seenOf(learned) + learned.missing.length} sensors seen`;

/** What was learned, for a terminal of 80 columns. */
export function fromUseLines({
  seconds,
  channels,
  controls,
  stickDeadZone,
  asInUse,
  missing,
}: FromUseAnswer): string[] {
  const lines = [`Seen: ${Math.round(seconds)} s of motion.`];
  if (channels.length > 0) {
    lines.push('', 'channel          open  closed   what is in use is off by   known to');
    for (const { role, open, closed, differsDeg, uncertaintyDeg, turned } of channels) {
      const [from, to] = [open, closed].map((counts) => String(Math.round(counts)));
      const off = turned ? 'the wrong way round' : `${differsDeg.toFixed(0)} degrees`;
      lines.push(
        `${role.padEnd(14)}${from.padStart(7)}${to.padStart(8)}   ${off.padEnd(26)} ${uncertaintyDeg.toFixed(1)} degrees`,
      );
    }
  }
  if (controls.length > 0) {
    lines.push('', 'stick, trigger   open  centre  closed   what is in use is off by   known to');
    for (const { role, open, centre, closed, differsPart, uncertaintyPart } of controls) {
      const [from, middle, to] = [open, centre, closed].map((counts) =>
        counts === undefined ? '' : String(Math.round(counts)),
      );
      const off = `${(100 * differsPart).toFixed(0)} % of its way`;
      lines.push(
        `${role.padEnd(14)}${from.padStart(7)}${middle.padStart(8)}${to.padStart(8)}   ${off.padEnd(26)} ${(100 * uncertaintyPart).toFixed(1)} %`,
      );
    }
  }
  if (stickDeadZone !== undefined) {
    lines.push('');
    const says = `Dead zone of the stick: ${(100 * stickDeadZone).toFixed(0)} % of its travel, by how it comes to rest.`;
    lines.push(...wrap(says, COLUMNS));
  }
  if (asInUse.length > 0) {
    lines.push('');
    lines.push(...wrap(`As in use, as far as can be told: ${asInUse.join(', ')}.`, COLUMNS));
  }
  if (missing.length > 0) lines.push('', 'Left as in use, since not enough was seen:');
  for (const { says } of missing) {
    for (const [i, line] of wrap(says, COLUMNS - 2).entries()) lines.push(`${i === 0 ? '! ' : '  '}${line}`);
  }
  return lines;
}
