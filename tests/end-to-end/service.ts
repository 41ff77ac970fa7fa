import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { type Running, start } from '../commands/cli.js';
import { App, armAsWearer } from '../stream/app.js';

/** A service in a process of its own, started as a user would. */
export interface ServiceProcess extends Running {
  /** Of the stream. */
  port: number;
  connect(protocol?: string): Promise<App>;
  /** As the wearer does; one hand or all. */
  arm(hand?: string): ReturnType<typeof armAsWearer>;
  /** Ends it as Ctrl-C would, and waits. */
  stop(): Promise<void>;
}

const running = new Set<ServiceProcess>();

/**
 * @param profile YAML text, or nothing for the simulated glove that comes with the program
 * @param env variables besides the least that a program needs
 */
export async function startServiceProcess(
  profile?: string,
  args: string[] = [],
  env: Record<string, string> = {},
): Promise<ServiceProcess> {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-test-'));
  const file = join(folder, 'profile.yaml');
  if (profile !== undefined) writeFileSync(file, profile);
  const command = start(
    ['run', ...(profile === undefined ? [] : ['--profile', file]), '--listen', '127.0.0.1:0', ...args],
    undefined,
    env,
  );
  void command.outcome.then(() => rmSync(folder, { recursive: true, force: true }));
  const said = await command.said('/stream');
  const port = Number(said.match(/ws:\/\/127\.0\.0\.1:(\d+)\/stream/)?.[1]);
  const service: ServiceProcess = {
    ...command,
    port,
    connect: (protocol) => App.connect(port, protocol),
    arm: (hand) => armAsWearer(port, hand),
    async stop() {
      running.delete(service);
      command.process.kill('SIGINT');
      await command.outcome;
    },
  };
  running.add(service);
  return service;
}

/** Arms the right hand as its wearer would. @returns false when the service refused: right after a disarm, say */
export async function armGlove(service: Pick<ServiceProcess, 'arm'>): Promise<boolean> {
  return (await service.arm('right')).status === 200;
}

/** Ends whatever a failed test left running. */
export async function stopAllServices(): Promise<void> {
  for (const service of [...running]) {
    running.delete(service);
    service.process.kill('SIGKILL');
    await service.outcome;
  }
}

/** A profile for a glove with our firmware behind `path`: five curls, with the host build's counts, and five stops. */
export function hostGloveProfile(path: string, hand = 'right', range = { open: 491, closed: 3604 }): string {
  const fingers = ['thumb', 'index', 'middle', 'ring', 'little'];
  return [
    'profile: 1',
    'gloves:',
    '  - name: host glove',
    `    hand: ${hand}`,
    `    link: { kind: serial, path: ${path} }`,
    '    channels:',
    ...fingers.map(
      (finger) => `      - { role: ${finger}.curl, open: ${range.open}, closed: ${range.closed} }`,
    ),
    '    actuators:',
    ...fingers.map((finger) => `      - { role: ${finger}, kind: stringStop }`),
  ].join('\n');
}
