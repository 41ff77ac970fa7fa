import { afterEach, describe, expect, it } from 'vitest';
import { stationLines } from '../../src/fleet/station-table.js';
import { createStationList, type SeenStation } from '../../src/fleet/stations.js';
import { type StationsServer, serveStations } from '../../src/fleet/stations-page.js';
import type { GloveStatus, StationStatus } from '../../src/fleet/status.js';

const glove = (more: Partial<GloveStatus> = {}): GloveStatus => ({
  hand: 'right',
  name: 'blue glove',
  link: 'live',
  armed: false,
  valid: true,
  rateHz: 249.6,
  lost: 0,
  batteryMv: 3910,
  firmwareVersion: 3,
  troubles: [],
  ...more,
});
const status = (more: Partial<StationStatus> = {}): StationStatus => ({
  fleet: 1,
  online: true,
  version: '0.1.0',
  run: '00000000000000aa',
  startedAt: '2031-05-06T07:08:09.000Z',
  publishes: ['health'],
  gloves: [glove()],
  ...more,
});
const asBytes = (value: unknown): Uint8Array => Buffer.from(JSON.stringify(value));

describe('the list of stations', () => {
  it('keeps the newest status of each, by site and name, and forgets one that is taken away', () => {
    const list = createStationList();
    for (const name of ['b', 'a', 'b']) list.take(`tautline/1/lab/${name}/status`, asBytes(status()), 5);
    list.take('tautline/1/annex/z/status', asBytes(status({ online: false, gloves: [] })), 6);
    expect(list.list().map(({ site, station, heardMs }) => `${site}/${station} ${heardMs}`)).toEqual([
      'annex/z 6',
      'lab/a 5',
      'lab/b 5',
    ]);
    list.take('tautline/1/lab/a/status', new Uint8Array(0), 7);
    expect(list.list()).toHaveLength(2);
  });

  it('takes nothing else, and no more than it may', () => {
    const list = createStationList(2);
    for (const body of [
      '',
      '{}',
      '[]',
      'null',
      'no',
      '{"fleet":2}',
      JSON.stringify({ ...status(), online: 1 }),
    ]) {
      list.take('tautline/1/lab/a/status', Buffer.from(body || ' '), 0);
    }
    list.take('tautline/1/lab/a/status', asBytes(status({ version: 'x'.repeat(50_000) })), 0);
    list.take('tautline/1/lab/a/right/raw', asBytes(status()), 0);
    expect(list.list()).toEqual([]);
    expect(list.refused).toBe(8);
    for (const name of ['a', 'b', 'c', 'd']) list.take(`tautline/1/lab/${name}/status`, asBytes(status()), 0);
    expect(list.list()).toHaveLength(2);
    expect(list.refused).toBe(10);
  });
});

const seen = (station: string, of: StationStatus, heardMs = 0): SeenStation => ({
  site: 'lab',
  station,
  status: of,
  heardMs,
});

describe('the table', () => {
  it('has a row for each glove', () => {
    const failing = glove({
      hand: 'left',
      armed: true,
      batteryMv: undefined,
      troubles: [
        { what: 'battery', state: 'attention', says: 'The battery is low.' },
        { what: 'index.curl', state: 'wrong', says: 'The sensor of the index finger jumps.' },
      ],
    });
    expect(
      stationLines(
        [
          seen('bench-01', status({ gloves: [failing, glove()] }), 1000),
          seen('bench-02', status({ online: false, gloves: [] })),
          seen('bench-03', status(), -30_000),
        ],
        2000,
      ),
    ).toEqual([
      '3 stations, 2 on line',
      '',
      'SITE  STATION   STATE     HAND          GLOVE       LINK  RATE    BATTERY  FW  TROUBLE',
      'lab   bench-01  on line   left (armed)  blue glove  live  250 Hz           3   The sensor of the index finger jumps. (and 1 more)',
      '                          right         blue glove  live  250 Hz  3.91 V   3',
      'lab   bench-02  off line',
      'lab   bench-03  quiet     right         blue glove  live  250 Hz  3.91 V   3',
    ]);
  });

  it('shows nothing that a terminal obeys', () => {
    const name = '\u001b[2J\u202egreen\n';
    const lines = stationLines([seen('bench-01', status({ gloves: [glove({ name })] }))], 0);
    expect(lines.join('')).toContain('?[2J?green?');
    expect(lines.join('')).not.toMatch(/[\p{Cc}\p{Cf}]/u);
  });
});

describe('the page', () => {
  let server: StationsServer | undefined;
  afterEach(() => server?.close());
  const serve = async (trouble?: string) => {
    server = await serveStations(
      '127.0.0.1:0',
      () => [seen('bench-01', status())],
      () => trouble,
    );
    return server.address;
  };

  it('is there, and the numbers beside it', async () => {
    const address = await serve('no broker');
    const page = await fetch(address);
    expect([page.status, page.headers.get('content-type')]).toEqual([200, 'text/html; charset=utf-8']);
    const numbers = await (await fetch(`${address}stations.json`)).json();
    expect(numbers).toMatchObject({ trouble: 'no broker', stations: [{ station: 'bench-01' }] });
    expect((await fetch(`${address}x`)).status).toBe(404);
    expect((await fetch(address, { method: 'POST' })).status).toBe(405);
  });

  it('is for this machine alone, also for a page that gives its own name this address', async () => {
    await expect(
      serveStations(
        '0.0.0.0:0',
        () => [],
        () => undefined,
      ),
    ).rejects.toMatchObject({ code: 'addressNotAllowed' });
    await expect(
      serveStations(
        'no address!',
        () => [],
        () => undefined,
      ),
    ).rejects.toMatchObject({ code: 'addressNotAllowed' });
    const { port } = new URL(await serve());
    const { request } = await import('node:http');
    const code = await new Promise((resolve) => {
      request({ port, headers: { host: 'evil.example' } }, ({ statusCode }) => resolve(statusCode)).end();
    });
    expect(code).toBe(403);
  });
});
