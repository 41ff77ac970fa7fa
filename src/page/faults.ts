import { faultText } from '../protocol/glove-faults.js';
import { unusedLines } from '../resistance/unused-lines.js';
import { type LiveHand, neverUsed } from './live.js';
import { roleText, sentence, verdictText } from './parts/words.js';

/** Something that is not well, and what to do. */
export interface Fault {
  /** The same as long as it is the same fault. */
  key: string;
  /** The part it is of: link, battery, a channel, a finger. */
  where: string;
  what: string;
  remedy: string;
  /** The channel that it is of. */
  role?: string;
}

/** A lithium cell below this is nearly empty; below the second, nothing is measured. Common practice. */
const LOW_MV = 3400;
const NO_CELL_MV = 2500;
/** Part of the promised samples below which they are too few. Common practice. */
const FEW = 0.8;

export const isBatteryLow = (mv: number | undefined): boolean =>
  mv !== undefined && mv < LOW_MV && mv > NO_CELL_MV;
export const isRateLow = (rateHz: number, promisedHz: number): boolean =>
  promisedHz > 0 && rateHz < FEW * promisedHz;

/** What is not well with a glove, the worst first: without a link nothing else counts. */
export function faultsOf(hand: Pick<LiveHand, 'info' | 'health' | 'joints'>): Fault[] {
  const { info, health, joints } = hand;
  const link = health?.link ?? info.link;
  if (link.state !== 'live') {
    const remedy = link.reason
      ? sentence(link.reason)
      : link.state === 'opening'
        ? 'It is being opened.'
        : '';
    return [{ key: 'link', where: 'Link', what: 'Not connected', remedy }];
  }
  const found: Fault[] = [];
  if (joints && !joints.valid) {
    found.push({ key: 'pose', where: 'Hand', what: 'No pose', remedy: joints.reason ?? '' });
  }
  for (const { role, verdict, evidence, remedy } of health?.channels ?? []) {
    if (verdict === 'healthy') continue;
    const lines = [evidence, remedy].filter((line) => line !== undefined).map(sentence);
    found.push({
      key: `${role} ${verdict}`,
      where: roleText(role),
      what: verdictText(verdict),
      remedy: lines.join('. '),
      role,
    });
  }
  for (const name of health?.faults ?? []) {
    found.push({ key: name, where: 'Glove', what: sentence(faultText(name)), remedy: '' });
  }
  if (isBatteryLow(health?.batteryMv)) {
    const volts = ((health?.batteryMv ?? 0) / 1000).toFixed(2);
    found.push({ key: 'battery', where: 'Battery', what: `${volts} V`, remedy: 'Charge it soon.' });
  }
  if (health && link.recorded === undefined && isRateLow(health.rateHz, info.sampleRateHz)) {
    const what = `Fewer samples than the ${info.sampleRateHz.toFixed(0)} a second it promises`;
    found.push({ key: 'rate', where: 'Link', what, remedy: health.clock?.note ?? '' });
  }
  return found;
}

/** Faults and fingers that are never held: all that a badge counts. */
export const countOf = (hand: LiveHand): number =>
  faultsOf(hand).length + unusedLines(neverUsed(hand)).length;
