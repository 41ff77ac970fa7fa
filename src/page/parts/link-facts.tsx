import { type ReadonlySignal, useComputed } from '@preact/signals';
import { firmwareReport, HOW_TO_UPDATE } from '../../protocol/firmware-versions.js';
import { faultText } from '../../protocol/glove-faults.js';
import type { DelaySummary } from '../delays.js';
import { isBatteryLow, isRateLow } from '../faults.js';
import type { LiveHand } from '../live.js';

const FACTS = [
  'Link',
  'Rate',
  'Lost frames',
  'Jitter',
  'Round trip',
  'Delay',
  'Battery',
  'Temperature',
  'Clock offset',
  'Clock drift',
  'Wrist',
  'Firmware',
  'Device',
  'Service',
] as const;
type FactName = (typeof FACTS)[number];
/** What fits on the bench. */
export const BENCH_FACTS: readonly FactName[] = [
  'Link',
  'Rate',
  'Battery',
  'Lost frames',
  'Jitter',
  'Round trip',
  'Delay',
  'Temperature',
  'Wrist',
];
/** Delays beyond the least, from which motion feels uneven, µs. Common practice. */
const UNEVEN_US = 8000;

/** Rate, loss, jitter, round trip, delay, battery and clock of one glove, in words. */
export interface LinkReport {
  facts: Record<FactName, { text: string; bad: boolean }>;
  /** What is amiss, and what to do; empty: nothing. */
  note: string;
}

/** @returns undefined while nothing is known */
export function linkReport(
  { health, info }: Pick<LiveHand, 'health' | 'info'>,
  delay?: DelaySummary,
  service?: string,
): LinkReport | undefined {
  if (!health) return undefined;
  const { link, rateHz, lost, batteryMv, temperatureC, faults, wrist } = health;
  // A clock that was never heard is not exact.
  const clock = link.state === 'live' ? health.clock : undefined;
  const promised = info.sampleRateHz;
  const firmware = firmwareReport(info.firmwareVersion);
  const fact = (text: string, bad = false) => ({ text, bad });
  const lines = [
    wrist?.note,
    link.reason,
    clock?.note,
    firmware.state === 'old' && link.recorded === undefined
      ? `Firmware ${firmware.ships} is there. New in it: ${firmware.brings.join(' ')} ${HOW_TO_UPDATE}`
      : '',
    faults.length > 0 ? `The glove reports: ${faults.map(faultText).join(', ')}.` : '',
  ];
  return {
    facts: {
      Link: fact(`${link.state}, ${link.address}`, link.state !== 'live'),
      Rate: fact(
        `${rateHz.toFixed(0)} Hz${promised > 0 ? ` of ${promised.toFixed(0)}` : ''}`,
        isRateLow(rateHz, promised),
      ),
      'Lost frames': fact(String(lost)),
      Jitter: fact(
        clock ? `${(clock.jitterUs / 1000).toFixed(2)} ms` : 'not known',
        (clock?.jitterUs ?? 0) > UNEVEN_US,
      ),
      'Round trip': fact(
        clock?.roundTripUs === undefined ? 'not known' : `${(clock.roundTripUs / 1000).toFixed(1)} ms`,
      ),
      Delay: fact(delay ? `${delay.medianMs.toFixed(1)} ms` : 'not known'),
      Battery: fact(
        batteryMv === undefined ? 'not reported' : `${(batteryMv / 1000).toFixed(2)} V`,
        isBatteryLow(batteryMv),
      ),
      Temperature: fact(temperatureC === undefined ? 'not reported' : `${temperatureC.toFixed(1)} °C`),
      'Clock offset': fact(clock ? `${(clock.offsetUs / 1e6).toFixed(3)} s` : 'not known'),
      'Clock drift': fact(
        clock
          ? `${Math.round(clock.driftPpm) || 0} ppm${clock.resets > 0 ? `, ${clock.resets} jumps` : ''}`
          : 'not known',
      ),
      Wrist: fact((wrist && WRIST_TEXT[wrist.source]) ?? 'not placed'),
      Firmware: fact(
        firmware.version === undefined
          ? 'not reported'
          : `${firmware.version}${firmware.state === 'old' ? `; ${firmware.ships} is there` : ''}`,
      ),
      Device: fact(info.deviceId ?? 'not reported'),
      Service: fact(service ?? 'not known'),
    },
    note: lines.filter(Boolean).join(' '),
  };
}

const WRIST_TEXT: Record<string, string> = { app: "an app's tracker", glove: "the glove's sensor" };

/** The facts of a link, written where they change: nothing is rendered again for a number. */
export function LinkFacts({
  report,
  shown = FACTS,
  name = 'link-facts',
}: {
  report: ReadonlySignal<LinkReport | undefined>;
  shown?: readonly FactName[];
  name?: string;
}) {
  const note = useComputed(() => report.value?.note ?? '');
  const noNote = useComputed(() => note.value === '');
  return (
    <div class={name}>
      <dl class="facts">
        {shown.map((one) => (
          <LinkFact key={one} name={one} report={report} />
        ))}
      </dl>
      <p class="remedy" hidden={noNote}>
        {note}
      </p>
    </div>
  );
}

function LinkFact({ name, report }: { name: FactName; report: ReadonlySignal<LinkReport | undefined> }) {
  const isBad = useComputed(() => (report.value?.facts[name].bad ? 'true' : undefined));
  const text = useComputed(() => {
    const fact = report.value?.facts[name];
    return fact ? `${fact.bad ? '⚠ ' : ''}${fact.text}` : '';
  });
  return (
    <div data-bad={isBad}>
      <dt>{name}</dt>
      <dd>{text}</dd>
    </div>
  );
}
