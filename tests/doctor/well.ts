import type { Facts } from '../../src/doctor/doctor.js';

/** A machine and a glove on which all is well. */
export const GLOVE = { name: 'Glove', hand: 'right', troubles: [], unused: [] };
export const well: Facts = {
  platform: 'linux',
  nodeVersion: 'v20.20.2',
  version: '0.1.0',
  profile: { path: '/home/kim/.config/tautline/glove.yaml' },
  cautions: [],
  examples: '/usr/lib/node_modules/tautline/config',
  ports: [
    { path: '/dev/ttyUSB0', usb: true, permitted: true, heldBy: [], latencyTimerMs: 1, autosuspends: false },
  ],
  gloveLinks: [{ glove: 'Glove', wants: '/dev/ttyUSB0', there: true }],
  portGroups: ['dialout'],
  userGroups: ['kim', 'dialout'],
  service: { state: 'running', version: '0.1.0', address: '127.0.0.1:7117', gloves: [GLOVE] },
  installed: {
    starter: '/home/kim/.config/systemd/user/tautline.service',
    exists: true,
    programExists: true,
  },
  lingers: true,
  folders: [{ path: '/home/kim/.config/tautline', writable: true, freeBytes: 5e9 }],
  bluetooth: { wanted: true },
  openxr: { supported: true, entries: [], loads: false, problems: [] },
  power: { onBattery: false },
};
