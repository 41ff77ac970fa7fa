import { faultText } from '../../protocol/glove-faults.js';
import { make, setAttribute, setText } from '../dom.js';
import type { LiveHand } from '../live.js';

const FACTS = [
  'Link',
  'Rate',
  'Lost frames',
  'Jitter',
  'Round trip',
  'Battery',
  'Temperature',
  'Clock offset',
  'Clock drift',
] as const;
/** A lithium cell below this is nearly empty. Common practice. */
const LOW_MV = 3400;
/** Delays beyond the least, from which motion feels uneven, µs. Common practice. */
const UNEVEN_US = 8000;

/** Rate, loss, jitter, round trip, battery and clock of one glove. */
export function createLinkFacts(): { element: HTMLElement; update(hand: LiveHand): void } {
  const cells = new Map(
    FACTS.map((name) => {
      const value = make('dd');
      return [name, { value, cell: make('div', {}, make('dt', {}, name), value) }];
    }),
  );
  const note = make('p', { class: 'remedy', hidden: true });
  const element = make(
    'div',
    { class: 'link-facts' },
    make('dl', { class: 'facts' }, ...[...cells.values()].map(({ cell }) => cell)),
    note,
  );
  const set = (name: (typeof FACTS)[number], text: string, bad = false) => {
    const { value, cell } = cells.get(name) as { value: HTMLElement; cell: HTMLElement };
    setText(value, bad ? `⚠ ${text}` : text);
    setAttribute(cell, 'data-bad', bad ? 'true' : undefined);
  };
  return {
    element,
    update({ health, info }) {
      if (!health) return;
      const { link, rateHz, lost, batteryMv, temperatureC, faults } = health;
      // A clock that was never heard is not exact.
      const clock = link.state === 'live' ? health.clock : undefined;
      const promised = info.sampleRateHz;
      set('Link', `${link.state}, ${link.address}`, link.state !== 'live');
      set(
        'Rate',
        `${rateHz.toFixed(0)} Hz${promised > 0 ? ` of ${promised.toFixed(0)}` : ''}`,
        promised > 0 && rateHz < 0.8 * promised,
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
      set(
        'Battery',
        batteryMv === undefined ? 'not reported' : `${(batteryMv / 1000).toFixed(2)} V`,
        batteryMv !== undefined && batteryMv < LOW_MV && batteryMv > 2500,
      );
      set('Temperature', temperatureC === undefined ? 'not reported' : `${temperatureC.toFixed(1)} °C`);
      set('Clock offset', clock ? `${(clock.offsetUs / 1e6).toFixed(3)} s` : 'not known');
      set(
        'Clock drift',
        clock
          ? `${Math.round(clock.driftPpm) || 0} ppm${clock.resets > 0 ? `, ${clock.resets} jumps` : ''}`
          : 'not known',
      );
      const lines = [
        link.reason,
        clock?.note,
        faults.length > 0 ? `The glove reports: ${faults.map(faultText).join(', ')}.` : '',
      ];
      const text = lines.filter(Boolean).join(' ');
      note.hidden = text === '';
      setText(note, text);
    },
  };
}
