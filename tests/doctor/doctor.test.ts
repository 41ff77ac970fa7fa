import { describe, expect, it } from 'vitest';
import { findingLines } from '../../src/commands/doctor.js';
import { parseProfile } from '../../src/config/load.js';
import { examine, type Facts } from '../../src/doctor/doctor.js';
import { eventsOf } from '../../src/doctor/recent-events.js';
import { bugReport } from '../../src/doctor/report.js';
import { scrub } from '../../src/doctor/scrub.js';
import { cautionsOf } from '../../src/resistance/cautions.js';
import { GLOVE, well } from './well.js';

const [port] = well.ports;

const STRONG = `profile: 1
gloves:
  - name: the strong one
    hand: left
    link: { kind: simulated }
    channels: [{ role: index.curl, open: 0, closed: 4000 }]
    actuators: [{ role: index, spoolRadiusMm: 10 }]
`;

describe('the doctor', () => {
  it('finds nothing wrong where all is well', () => {
    expect(examine(well).filter(({ state }) => state !== 'fine')).toEqual([]);
  });

  const running = (glove: object): Partial<Facts> => ({
    service: {
      state: 'running',
      version: '0.1.0',
      address: '127.0.0.1:7117',
      gloves: [{ ...GLOVE, ...glove }],
    },
  });
  const cases: [string, Partial<Facts>, 'attention' | 'wrong', RegExp][] = [
    [
      "a profile's own port that is missing",
      { gloveLinks: [{ glove: 'Glove', wants: '/dev/ttyUSB7', there: false }] },
      'wrong',
      /port is not there.*\/dev\/ttyUSB7.*tautline ports/,
    ],
    [
      'what the service says of a glove',
      running({ troubles: [{ what: 'link', state: 'wrong', says: 'Bytes come.', remedy: 'Look.' }] }),
      'wrong',
      /^Bytes come\. Look\.$/,
    ],
    [
      'a servo that is never used',
      running({ unused: [{ says: 'index stays free: too strong.', remedy: 'A larger spool.' }] }),
      'wrong',
      /index stays free: too strong\. A larger spool\./,
    ],
    ['an old Node', { nodeVersion: 'v18.1.0' }, 'wrong', /Install Node 20/],
    [
      'no profile',
      { profile: { path: undefined } },
      'attention',
      /simulated.*nearest one of \/usr\/lib\/node_modules\/tautline\/config,/,
    ],
    [
      'a service without a profile',
      { profile: { path: undefined, inUse: { kind: 'simulated' } } },
      'attention',
      /^The running service has no profile, and shows the simulated glove\. .*`tautline new`/,
    ],
    [
      'a service with another profile than the one asked about',
      { profile: { path: '/home/kim/a.yaml', inUse: { kind: 'file', file: '/srv/b.yaml', changed: false } } },
      'attention',
      /a\.yaml is sound, but the running service uses \/srv\/b\.yaml\./,
    ],
    [
      'a profile that was changed since the service started',
      { profile: { path: '/srv/b.yaml', inUse: { kind: 'file', file: '/srv/b.yaml', changed: true } } },
      'attention',
      /uses \/srv\/b\.yaml, which is sound, but was changed since it started\. Restart/,
    ],
    [
      'a library that is gone',
      {
        openxr: {
          supported: true,
          entries: [{ manifest: '/a.json', ours: true, current: true, problem: 'x' }],
          loads: false,
          problems: ['/a.so is not there, or may not be read. `tautline openxr on` writes it again.'],
        },
      },
      'wrong',
      /a\.so is not there, or may not be read\..*openxr on/,
    ],
    [
      'an OpenXR layer that is registered twice',
      {
        openxr: {
          supported: true,
          entries: [{ manifest: '/a.json', ours: true, current: true }],
          loads: true,
          problems: ['/b.json registers the same layer once more. Remove one of the two.'],
        },
      },
      'attention',
      /once more/,
    ],
    ['a bad profile', { profile: { path: 'g.yaml', problem: 'g.yaml:3:5: no.' } }, 'wrong', /g\.yaml:3:5/],
    [
      'a servo that is never used',
      { cautions: cautionsOf(parseProfile(STRONG, 'strong.yaml')) },
      'attention',
      /^the strong one: index stays free: the servo pulls up to 15 N .*maxTensionN.* Use a spoolRadiusMm of 18\.8/,
    ],
    ['no port', { ports: [] }, 'attention', /charge-only/],
    [
      'a port of another group',
      { ports: [{ ...port, permitted: false }], userGroups: ['kim'] },
      'wrong',
      /usermod -aG dialout/,
    ],
    [
      'a port of the main board',
      { ports: [{ ...port, usb: false, permitted: false }], userGroups: ['kim'] },
      'attention',
      /only if a glove is connected/,
    ],
    ['a computer on its battery', { power: { onBattery: true } }, 'attention', /battery/],
    ['a computer that falls asleep', { power: { sleepsAfterMin: 10 } }, 'attention', /10 minutes/],
    ['a port that is held', { ports: [{ ...port, heldBy: ['modem (process 7)'] }] }, 'attention', /modem/],
    ['a slow adapter', { ports: [{ ...port, latencyTimerMs: 16 }] }, 'attention', /16 ms/],
    ['a port that sleeps', { ports: [{ ...port, autosuspends: true }] }, 'attention', /power\/control/],
    ['no service', { service: { state: 'none' } }, 'attention', /tautline run/],
    [
      'another program there',
      { service: { state: 'foreign', address: '127.0.0.1:7117' } },
      'wrong',
      /stream\.port/,
    ],
    ['a service with a token', { service: { state: 'refused', status: 401 } }, 'attention', /TAUTLINE_TOKEN/],
    [
      'a service of another version',
      { service: { ...well.service, version: '0.0.9' } as Facts['service'] },
      'attention',
      /0\.0\.9/,
    ],
    [
      'a program that moved',
      { installed: { ...well.installed, programExists: false } },
      'wrong',
      /tautline install/,
    ],
    [
      'a folder of somebody else',
      { folders: [{ path: '/x', writable: false, freeBytes: 1e9 }] },
      'wrong',
      /owns/,
    ],
    ['a full disk', { folders: [{ path: '/x', writable: true, freeBytes: 1e7 }] }, 'attention', /10 MB/],
    [
      'no library for the radio',
      { bluetooth: { wanted: true, problem: 'Bluetooth: no.' } },
      'wrong',
      /libdbus/,
    ],
  ];
  it.each(cases)('tells of %s, and what to do', (_, change, state, says) => {
    const found = examine({ ...well, ...change }).filter((finding) => finding.state !== 'fine');
    expect(found).toHaveLength(1);
    expect(found[0].state).toBe(state);
    expect(`${found[0].says} ${found[0].remedy}`).toMatch(says);
    expect(found[0].remedy).toBeTruthy();
    for (const line of findingLines(found[0])) expect(line.length).toBeLessThanOrEqual(80);
  });
});

describe('a report for others', () => {
  const personal = { home: '/home/kim', user: 'kim', host: 'kims-laptop', secrets: ['s3cret-token-of-16'] };

  it('holds nothing that tells who and where', () => {
    const profile = parseProfile(
      `profile: 1
name: Kim's best glove
wearer: { name: Kim Roe, handLengthMm: 181 }
stream: { token: s3cret-token-of-16 }
gloves:
  - name: the blue one
    hand: left
    link: { kind: serial, usb: { vendor: "1209", product: "0001", serial: "SN-4711" } }
    channels: [{ role: index.curl, open: 0, closed: 4000 }]
`,
      'kim.yaml',
    );
    const text = bugReport(
      {
        version: '0.1.0',
        node: 'v20',
        platform: 'Linux',
        findings: [
          { what: '/home/kim/.config/tautline', state: 'fine', says: 'Writable by kim on kims-laptop.' },
        ],
        service: {
          state: 'running',
          version: '0.1.0',
          address: '192.168.1.20:7117',
          gloves: [{ ...GLOVE, name: 'the blue one' }],
        },
        profile,
        health: {
          gloves: [
            {
              name: 'the blue one',
              deviceId: '7a00000100000001',
              link: { address: 'AA:BB:CC:00:11:22', recorded: 'Noa at home.mcap' },
            },
          ],
        },
      },
      personal,
    );
    for (const secret of [
      'kim',
      'Kim',
      'Roe',
      'blue',
      's3cret',
      '4711',
      '192.168',
      '7a00000100000001',
      'AA:BB',
      'Noa',
    ]) {
      expect(text).not.toContain(secret);
    }
    const report = JSON.parse(text);
    expect(report.profile.gloves[0]).toMatchObject({ hand: 'left', link: { kind: 'serial' } });
    expect(report.profile.wearer.handLengthMm).toBe(181);
  });

  it('lets no text of the owner out, wherever it stands', () => {
    // Planted in every place that takes a text, in what services and doctors say, and in the log.
    const planted = [
      'Zuzanna',
      'zuz-laptop',
      'Planted',
      'zuz.example',
      '10.1.2.3',
      'fe80::1ff:fe23',
      'zz@mail.example',
      'zz-token-of-16-chars',
      'ZZ0042',
    ];
    const profile = parseProfile(
      `profile: 1
name: Planted profile
wearer: { name: Zuzanna }
stream: { token: zz-token-of-16-chars, host: 10.1.2.3, origins: ["https://zuz.example"] }
gloves:
  - name: Planted glove
    hand: left
    link: { kind: serial, path: /dev/Planted, usb: { vendor: "1209", product: "0001", serial: "ZZ0042" } }
    codec: { kind: lines, columns: [timeMs, index.curl], output: "Planted {index.us}" }
    channels: [{ role: index.curl, open: 0, closed: 4000 }]
    actuators: [{ role: index, kind: stringStop, servoUs: [600, 2400] }]
`,
      'zuz.yaml',
    );
    const log = [
      {
        level: 30,
        time: '2031-05-06T07:08:09.000Z',
        msg: 'link is live',
        glove: 'Planted glove',
        address: '/dev/Planted',
      },
      { level: 40, msg: '/home/zuzanna/glove.yaml: Planted 7', by: 'Planted app' },
      { level: 30, event: 'glove.armed', msg: 'armed by Planted app 12' },
    ].map((entry) => JSON.stringify(entry));
    const text = bugReport(
      {
        version: '0.1.0',
        node: 'v20',
        platform: 'Linux',
        findings: [
          {
            what: '/dev/serial/by-id/usb-ZZ0042',
            state: 'wrong',
            says: 'Held by zuzanna on ZUZ-LAPTOP, fe80::1ff:fe23.',
          },
          { what: '/dev/cu.usbserial-ZZ0042', state: 'fine', says: 'Asked zz@mail.example at 10.1.2.3.' },
        ],
        service: {
          state: 'running',
          version: '0.1.0',
          address: '10.1.2.3:7117',
          gloves: [{ ...GLOVE, name: 'Planted glove' }],
        },
        events: eventsOf([...log, 'Planted: no JSON', 'null'], 10),
        profile,
        health: {
          name: 'tautline',
          gloves: [
            {
              name: 'Planted glove',
              deviceId: '7a00000100000001',
              channels: [{ role: 'index.curl', verdict: 'healthy' }],
            },
          ],
          apps: [{ app: 'app1', name: 'Planted app' }],
        },
        metrics: 'tautline_app_dropped{app="Planted app"} 3',
      },
      { home: '/home/zuzanna', user: 'zuzanna', host: 'zuz-laptop', secrets: [] },
    );
    for (const word of [...planted, '7a00000100000001'])
      expect(text.toLowerCase()).not.toContain(word.toLowerCase());
    const report = JSON.parse(text);
    // What helps is still there.
    expect(report.profile.gloves[0]).toMatchObject({
      hand: 'left',
      link: { kind: 'serial', baud: 115200, usb: { vendor: '1209', product: '0001' } },
      codec: { kind: 'lines', columns: ['timeMs', 'index.curl'] },
      actuators: [{ role: 'index', servoUs: [600, 2400] }],
    });
    expect(report.health.gloves[0].channels).toEqual([{ role: 'index.curl', verdict: 'healthy' }]);
    expect(report.events).toEqual([
      { time: '2031-05-06T07:08:09.000Z', level: 30, event: 'link is live' },
      { level: 40, event: 'other' },
      { level: 30, event: 'glove.armed' },
    ]);
  });

  it('leaves addresses of this machine and words that only hold a name', () => {
    expect(scrub('127.0.0.1:7117 kimono', personal)).toBe('127.0.0.1:7117 kimono');
    // A name of one or two letters would tear every word apart.
    expect(scrub('a b', { ...personal, user: 'a', secrets: ['b'] })).toBe('a b');
  });
});
