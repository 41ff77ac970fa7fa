import { firmwareReport, HOW_TO_UPDATE } from '../../protocol/firmware-versions.js';
import { faultText } from '../../protocol/glove-faults.js';
import type { DelaySummary } from '../delays.js';
import { make, setAttribute, setHidden, setText } from '../dom.js';
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
type Fact = (typeof FACTS)[number];
/** What fits on the bench. */
export const BENCH_FACTS: readonly Fact[] = [
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

/** Rate, loss, jitter, round trip, delay, battery and clock of one glove. */
export function createLinkFacts(
  shown: readonly Fact[] = FACTS,
  name = 'link-facts',
): { element: HTMLElement; update(hand: LiveHand, delay?: DelaySummary, service?: string): void } {
  const cells = new Map(
    shown.map((name) => {
      const value = make('dd');
      return [name, { value, cell: make('div', {}, make('dt', {}, name), value) }];
    }),
  );
  const note = make('p', { class: 'remedy', hidden: true });
  const element = make(
    'div',
    { class: name },
    make('dl', { class: 'facts' }, ...[...cells.values()].map(({ cell }) => cell)),
    note,
  );
  const set = (name: Fact, text: string, bad = false) => {
    const known = cells.get(name);
    if (!known) return;
    const { value, cell } = known;
    setText(value, bad ? `⚠ ${text}` : text);
    setAttribute(cell, 'data-bad', bad ? 'true' : undefined);
  };
  return {
    element,
    update({ health, info }, delay, service) {
      if (!health) return;
      const { link, rateHz, lost, batteryMv, temperatureC, faults } = health;
      // A clock that was never heard is not exact.
      const clock = link.state === 'live' ? health.clock : undefined;
      const promised = info.sampleRateHz;
      set('Link', `${link.state}, ${link.address}`, link.state !== 'live');
      set(
        'Rate',
        `${rateHz.toFixed(0)} Hz${promised > 0 ? ` of ${promised.toFixed(0)}` : ''}`,
        isRateLow(rateHz, promised),
      );
      set('Lost frames', String(lost));
      set(
        'Jitter',
        clock ? `${(clock.jitterUs / 1000).toFixed(2)} ms` : 'not known',
        (clock?.jitterUs ?? 0) > UNEVEN_US,
      );
      set(
        'Round trip',
        clock?.roundTripUs === undefined ? 'not known' : `${(clock.roundTripUs / 1000).toFixed(1)} ms`,
      );
      set('Delay', delay ? `${delay.medianMs.toFixed(1)} ms` : 'not known');
      set(
        'Battery',
        batteryMv === undefined ? 'not reported' : `${(batteryMv / 1000).toFixed(2)} V`,
        isBatteryLow(batteryMv),
      );
      set('Temperature', temperatureC === undefined ? 'not reported' : `${temperatureC.toFixed(1)} °C`);
      set('Clock offset', clock ? `${(clock.offsetUs / 1e6).toFixed(3)} s` : 'not known');
      set(
        'Clock drift',
        clock
          ? `${Math.round(clock.driftPpm) || 0} ppm${clock.resets > 0 ? `, ${clock.resets} jumps` : ''}`
          : 'not known',
      );
      set('Wrist', wristText(health.wrist));
      const firmware = firmwareReport(info.firmwareVersion);
      set(
        'Firmware',
        firmware.version === undefined
          ? 'not reported'
          : `${firmware.version}${firmware.state === 'old' ? `; ${firmware.ships} is there` : ''}`,
      );
      set('Device', info.deviceId ?? 'not reported');
      set('Service', service ?? 'not known');
      const lines = [
        health.wrist?.note,
        link.reason,
        clock?.note,
        firmware.state === 'old' && link.recorded === undefined
          ? `Firmware ${firmware.ships} is there. New in it: ${firmware.brings.join(' ')} ${HOW_TO_UPDATE}`
          : '',
        faults.length > 0 ? `The glove reports: ${faults.map(faultText).join(', ')}.` : '',
      ];
      const text = lines.filter(Boolean).join(' ');
      setHidden(note, text === '');
      setText(note, text);
    },
  };
}

const WRIST_TEXT: Record<string, string> = { app: "an app's tracker", glove: "the glove's sensor" };
const wristText = (wrist: NonNullable<LiveHand['health']>['wrist']): string =>
  (wrist && WRIST_TEXT[wrist.source]) ?? 'not placed';
