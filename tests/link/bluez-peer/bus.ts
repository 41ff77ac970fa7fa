import { type ChildProcess, spawn } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';

/** A message bus of our own, that stands in for the system's: nothing here touches the machine's Bluetooth. */
export interface PrivateBus {
  /** For DBUS_SYSTEM_BUS_ADDRESS. */
  address: string;
  process: ChildProcess;
  stop(): Promise<void>;
}

const config = (socket: string): string => `<!DOCTYPE busconfig PUBLIC
  "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
  "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>custom</type>
  <listen>unix:path=${socket}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow user="*"/>
    <allow own="*"/>
    <allow send_destination="*" eavesdrop="true"/>
    <allow receive_sender="*"/>
  </policy>
</busconfig>
`;

export async function startBus(): Promise<PrivateBus> {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-bus-'));
  const file = join(folder, 'bus.conf');
  writeFileSync(file, config(join(folder, 'socket')));
  const daemon = spawn(
    'dbus-daemon',
    [`--config-file=${file}`, '--nofork', '--nopidfile', '--print-address'],
    {
      // It grumbles about limits that it may not raise.
      stdio: ['ignore', 'pipe', 'ignore'],
    },
  );
  const exited = new Promise<void>((resolve) => daemon.once('exit', () => resolve()));
  const address = await new Promise<string>((resolve, reject) => {
    daemon.once('error', reject);
    daemon.once('exit', (code) => reject(new Error(`dbus-daemon ended with code ${code}`)));
    createInterface({ input: daemon.stdout! }).once('line', resolve);
  });
  return {
    address,
    process: daemon,
    async stop() {
      daemon.kill();
      await exited;
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
