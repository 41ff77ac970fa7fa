import { execFile } from 'node:child_process';

/** Whether the system keeps its clock by others. */
export const NTP_STATES = ['unknown', 'free', 'synchronised'] as const;
export type NtpState = (typeof NTP_STATES)[number];

const WITHIN_MS = 2000;

/** Asks the system, where it is known how. Never rejects. */
export function readNtpState(platform: NodeJS.Platform = process.platform): Promise<NtpState> {
  if (platform !== 'linux') return Promise.resolve('unknown');
  return new Promise((resolve) => {
    const asked = ['show', '--property=NTPSynchronized', '--value'];
    execFile('timedatectl', asked, { timeout: WITHIN_MS }, (error, stdout) => {
      resolve(error ? 'unknown' : ntpStateOf(stdout));
    });
  });
}

/** @param said by `timedatectl show --property=NTPSynchronized --value` */
export function ntpStateOf(said: string): NtpState {
  const word = said.trim();
  return word === 'yes' ? 'synchronised' : word === 'no' ? 'free' : 'unknown';
}
