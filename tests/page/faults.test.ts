import { describe, expect, it } from 'vitest';
import { addEntry, changesOf, type LogEntry } from '../../src/page/event-log.js';
import { faultsOf } from '../../src/page/faults.js';
import type { LiveHand } from '../../src/page/live.js';

const LIVE = { state: 'live', address: 'x' };
function hand(health: object, info: object = {}, joints: object | undefined = { valid: true }): LiveHand {
  return {
    info: { link: LIVE, sampleRateHz: 500, actuators: [], ...info },
    health: { link: LIVE, channels: [], faults: [], rateHz: 500, ...health },
    joints,
  } as unknown as LiveHand;
}
const keys = (one: LiveHand): string[] => faultsOf(one).map(({ key }) => key);

describe('faults', () => {
  it('are none where all is well', () => {
    expect(keys(hand({ channels: [{ role: 'index.curl', verdict: 'healthy' }], batteryMv: 3900 }))).toEqual(
      [],
    );
    // No cell is measured where the board has none.
    expect(keys(hand({ batteryMv: 0 }))).toEqual([]);
  });
  it('are the link alone while there is no link: nothing else is known then', () => {
    const link = { state: 'lost', address: 'x', reason: 'nothing came for 1 s' };
    const lost = hand({ link, channels: [{ role: 'index.curl', verdict: 'dead' }], rateHz: 0 });
    expect(faultsOf(lost)).toEqual([
      { key: 'link', where: 'Link', what: 'Not connected', remedy: 'Nothing came for 1 s' },
    ]);
  });
  it('name each channel with what to do, what the glove reports, an empty cell and too few samples', () => {
    const channel = { role: 'index.curl', verdict: 'shortRange', evidence: 'moves 3 %', remedy: 'refit it' };
    const faulty = hand({ channels: [channel], faults: ['brownOut'], batteryMv: 3300, rateHz: 399 });
    expect(keys(faulty)).toEqual(['index.curl shortRange', 'brownOut', 'battery', 'rate']);
    expect(faultsOf(faulty)[0]).toMatchObject({
      where: 'Index curl',
      what: 'Short range',
      remedy: 'Moves 3 %. Refit it',
    });
    expect(keys(hand({ rateHz: 400 }))).toEqual([]);
  });
  it('do not call a replay slow', () => {
    expect(keys(hand({ rateHz: 10, link: { ...LIVE, recorded: 'a.mcap' } }))).toEqual([]);
  });
});

describe('the event log', () => {
  it('says what came and what went', () => {
    const [dead, noisy] = ['Dead', 'Noisy'].map((what) => ({
      key: what,
      where: 'Index curl',
      what,
      remedy: '',
    }));
    expect(changesOf([dead], [noisy])).toEqual([
      { kind: 'fault', text: 'Index curl: noisy' },
      { kind: 'well', text: 'Index curl: dead, no longer' },
    ]);
    expect(changesOf([dead], [dead])).toEqual([]);
  });
  it('has the newest first, counts repeats and forgets the oldest', () => {
    const entries: LogEntry[] = [];
    const add = (text: string, s: number) =>
      addEntry(entries, { at: new Date(s * 1000), of: 'Right hand', kind: 'limit', text });
    for (let n = 0; n < 3; n++) add('hot', n);
    expect(entries).toMatchObject([{ text: 'hot', times: 3, at: new Date(2000) }]);
    for (let n = 0; n < 300; n++) add(String(n), n);
    expect([entries.length, entries[0].text]).toEqual([200, '299']);
  });
  it('has one line for a fault that comes and goes, until it stays away for half a minute', () => {
    const entries: LogEntry[] = [];
    const loose = 'Index curl: loose contact';
    const add = (kind: LogEntry['kind'], text: string, s: number, of = 'Right hand') =>
      addEntry(entries, { at: new Date(s * 1000), of, kind, text });
    const lines = () => entries.map(({ text, times }) => `${text} ${times}`);
    for (let n = 0; n < 12; n++) {
      if (n === 5) add('fault', 'Ring curl: dead', 100);
      add('fault', loose, n * 20);
      add('well', `${loose}, no longer`, n * 20 + 5);
    }
    expect(lines()).toEqual([`${loose}, no longer 1`, `${loose} 12`, 'Ring curl: dead 1']);
    // Another hand, or half a minute later: another fault.
    add('fault', loose, 226, 'Left hand');
    add('fault', loose, 251);
    expect(lines().slice(0, 3)).toEqual([`${loose} 1`, `${loose} 1`, `${loose}, no longer 1`]);
  });
});
