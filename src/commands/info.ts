import type { Command } from 'commander';
import type { CollectedInfo, HandInfo, SessionInfo } from '../recording/info.js';

export function addInfoCommand(program: Command): void {
  program
    .command('info')
    .description('What is in a session: what, who, how long, rates, gaps, faults, marks.')
    .argument('<file>', 'a session')
    .option('--json', 'print JSON')
    .addHelpText('after', '\nExample:\n  tautline info morning.mcap')
    .action(async (file: string, { json }: { json?: boolean }) => {
      const [{ openSession }, { describeSession }] = await Promise.all([
        import('../recording/session.js'),
        import('../recording/info.js'),
      ]);
      const session = openSession(file);
      const info = describeSession(session);
      session.close();
      if (json) console.log(JSON.stringify(info, null, 2));
      else for (const line of describe(info)) console.log(line.replace(/\p{Cc}/gu, '?'));
    });
}

/** Lines of text. */
export function describe(info: SessionInfo): string[] {
  const { damage } = info;
  const lines = [
    `${info.file}: ${clock(info.durationS)}, ${(info.bytes / 1e6).toFixed(2)} MB`,
    `  recorded ${info.startedAt} by version ${info.program}${info.part > 1 ? `, part ${info.part}` : ''}`,
    `  profile "${info.profile}"${info.wearer ? `, worn by ${info.wearer}` : ''}`,
  ];
  if (info.collected) lines.push(...describeOrigin(info.collected));
  if (!info.complete) {
    lines.push('  ended without its index (killed or cut off): up to 1 s before its end is missing');
  }
  if (damage.chunks + damage.bytes + damage.messages > 0) {
    lines.push(
      `  damaged: ${damage.chunks} parts, ${damage.bytes} bytes and ${damage.messages} messages cannot be read`,
    );
  }
  for (const hand of info.hands) lines.push(...describeHand(hand));
  for (const { app, type, count, refused } of info.requests) {
    lines.push(
      `  ${app || 'an app'}: ${count} × ${type}${refused > 0 ? `, ${refused} of them refused` : ''}`,
    );
  }
  for (const { atS, text } of info.marks) lines.push(`  ${clock(atS).padStart(9)}  ${text}`);
  return lines;
}

function describeOrigin({ site, station, collector, clock: own }: CollectedInfo): string[] {
  const lines = [`  collected from ${site}/${station} by ${collector}`];
  if (own) {
    const error = own.errorMs === undefined ? 'at most' : `± ${own.errorMs.toFixed(1)} ms`;
    lines.push(
      `  add ${own.offsetMs.toFixed(1)} ms (${error}) to its times for those of the collector; its clock: ${own.ntp}`,
    );
  }
  return lines;
}

function describeHand(hand: HandInfo): string[] {
  const { gaps, gapCount, faults, links } = hand;
  const lines = [
    `  ${hand.hand} hand: ${hand.name}${hand.deviceId ? ` (${hand.deviceId})` : ''}`,
    `    ${hand.samples} samples, ${hand.measuredHz.toFixed(1)} a second${hand.sampleRateHz ? ` of ${hand.sampleRateHz} promised` : ''}; ${hand.lost} lost, ${hand.badCrc} damaged`,
  ];
  if (hand.joints > 0) lines.push(`    ${hand.joints} poses recorded`);
  if (hand.holds > 0) lines.push(`    fingers were held ${hand.holds} times`);
  if (gapCount > 0) {
    const longest = gaps.slice(0, 3).map(({ atS, seconds }) => `${seconds.toFixed(2)} s at ${clock(atS)}`);
    lines.push(`    ${gapCount} gaps; the longest: ${longest.join(', ')}`);
  }
  for (const { atS, state, reason } of links) {
    if (reason !== undefined) lines.push(`    ${clock(atS)} ${state}: ${reason}`);
  }
  for (const { atS, role, verdict, evidence } of faults) {
    lines.push(`    ${clock(atS)} ${role} ${verdict}${evidence ? `: ${evidence}` : ''}`);
  }
  return lines;
}

/** `75.20` -> `1:15.20`. */
export function clock(seconds: number): string {
  const minutes = Math.floor(seconds / 60);
  const rest = (seconds - 60 * minutes).toFixed(2).padStart(5, '0');
  const hours = Math.floor(minutes / 60);
  return hours > 0 ? `${hours}:${String(minutes % 60).padStart(2, '0')}:${rest}` : `${minutes}:${rest}`;
}
