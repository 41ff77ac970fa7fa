import type { Channel } from '../sensing/channels.js';
import type { Verdict } from '../sensing/health/verdicts.js';
import type { ButtonFinding } from './button-watch.js';
import { type ChannelFinding, judgeCheck } from './check.js';
import type { MoveRecord } from './move-record.js';
import type { CheckReport, LinkReport } from './report.js';

/** By its signal alone a channel is seen to be loose, or off, which in the moves may look like something else. */
const LOOKS_LIKE: Readonly<Partial<Record<string, readonly string[]>>> = {
  intermittent: ['dead', 'noisy', 'drifting'],
  // What has drifted as far as the converter's end is drifting.
  railed: ['dead', 'noisy'],
};

/**
 * @param live what the running service says of each channel as the check ends
 * @returns what to show, and the verdicts, if the moves were made at all
 */
export function reportCheck(
  record: MoveRecord,
  channels: readonly Channel[],
  link: LinkReport,
  buttons: readonly ButtonFinding[] = [],
  live: readonly Verdict[] = [],
): { report: CheckReport; verdicts: readonly Verdict[] | undefined } {
  const findings = judgeCheck(record, channels).map((finding, i): ChannelFinding => {
    const signal = live[i];
    const better = signal && LOOKS_LIKE[signal.kind]?.includes(finding.verdict.kind);
    return better ? { ...finding, verdict: signal, evidence: signal.evidence } : finding;
  });
  const shown = findings.map(({ role, verdict, evidence, used, noiseCounts }) => ({
    role,
    verdict: verdict.kind,
    evidence,
    remedy: verdict.remedy,
    used,
    noiseCounts,
  }));
  const ok =
    link.ok &&
    shown.every(({ verdict }) => verdict === 'healthy') &&
    // Whoever does not press a button has not found a fault of it.
    buttons.every(({ verdict }) => verdict === 'healthy' || verdict === 'notPressed');
  return {
    report: { ok, channels: shown, ...(buttons.length > 0 ? { buttons } : {}), link },
    verdicts: wasFollowed(findings) ? findings.map(({ verdict }) => verdict) : undefined,
  };
}

/** More than half of the channels responded; otherwise nobody made the moves, and nothing is known. */
function wasFollowed(findings: readonly ChannelFinding[]): boolean {
  const silent = findings.filter(({ verdict: { kind } }) => kind === 'dead').length;
  return silent * 2 < findings.length;
}
