import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir, userInfo } from 'node:os';
import { join } from 'node:path';

/** The broker of Debian's package, on a port of its own, as the guide sets it up. */
export const MOSQUITTO = '/usr/sbin/mosquitto';

export interface TestBroker {
  readonly url: string;
  readonly port: number;
  /** Its certificate's authority, and a certificate for clients, when it speaks TLS. */
  readonly files: { ca: string; cert: string; key: string };
  readonly folder: string;
  log(): string;
  process(): ChildProcess;
  /** At once, as a power cut would. */
  kill(): Promise<void>;
  /** On the same port. */
  start(): Promise<void>;
  stop(): Promise<void>;
}

export interface BrokerSettings {
  tls?: boolean;
  /** With TLS: clients need a certificate. */
  clientCertificates?: boolean;
  /** Name -> password. Without any, everybody may connect. */
  users?: Record<string, string>;
  /** Access list, in mosquitto's words. */
  acl?: string;
  /** More lines of the configuration. */
  more?: string[];
}

const brokers = new Set<TestBroker>();
const folders: string[] = [];

/** Call after each test, or after all of them. */
export async function stopAllBrokers(): Promise<void> {
  for (const broker of [...brokers]) await broker.stop();
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true, force: true });
}

export async function startBroker(settings: BrokerSettings = {}): Promise<TestBroker> {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-broker-'));
  folders.push(folder);
  const file = (name: string) => join(folder, name);
  const port = await freePort();
  const { tls, clientCertificates, users, acl, more = [] } = settings;
  const lines = [`listener ${port} 127.0.0.1`, `user ${userInfo().username}`, 'log_type all', ...more];
  lines.push(`allow_anonymous ${users === undefined}`);
  if (users) {
    writeFileSync(file('passwords'), '', { mode: 0o600 });
    for (const [name, password] of Object.entries(users)) {
      execFileSync('mosquitto_passwd', ['-b', file('passwords'), name, password]);
      writeFileSync(file(`${name}.password`), `${password}\n`, { mode: 0o600 });
    }
    lines.push(`password_file ${file('passwords')}`);
  }
  if (acl !== undefined) {
    writeFileSync(file('acl'), acl, { mode: 0o600 });
    lines.push(`acl_file ${file('acl')}`);
  }
  const files = { ca: file('ca.crt'), cert: file('client.crt'), key: file('client.key') };
  if (tls) {
    makeCertificates(folder);
    lines.push(`certfile ${file('server.crt')}`, `keyfile ${file('server.key')}`, `cafile ${files.ca}`);
    if (clientCertificates) lines.push('require_certificate true');
  }
  writeFileSync(file('mosquitto.conf'), `${lines.join('\n')}\n`);
  let child: ChildProcess;
  let log = '';

  async function start(): Promise<void> {
    const from = log.length;
    child = spawn(existsSync(MOSQUITTO) ? MOSQUITTO : 'mosquitto', ['-c', file('mosquitto.conf')], {
      stdio: ['ignore', 'pipe', 'pipe'],
    });
    await new Promise<void>((resolve, reject) => {
      const take = (text: Buffer): void => {
        log += text;
        if (/mosquitto version .* running/.test(log.slice(from))) resolve();
      };
      child.stdout!.on('data', take);
      child.stderr!.on('data', take);
      child.once('exit', (code) => reject(new Error(`mosquitto ended with ${code}: ${log}`)));
    });
  }
  const end = async (signal: NodeJS.Signals): Promise<void> => {
    if (child.exitCode !== null || child.signalCode !== null) return;
    const gone = new Promise((resolve) => child.once('exit', resolve));
    // Whatever a test left it in.
    child.kill('SIGCONT');
    child.kill(signal);
    await gone;
  };
  const broker: TestBroker = {
    url: `mqtt${tls ? 's' : ''}://127.0.0.1:${port}`,
    port,
    files,
    folder,
    log: () => log,
    process: () => child,
    kill: () => end('SIGKILL'),
    start,
    async stop() {
      brokers.delete(broker);
      await end('SIGTERM');
    },
  };
  brokers.add(broker);
  await start();
  return broker;
}

/** An authority, and what it signed: one for the broker, by number and name, and one for clients. */
function makeCertificates(folder: string): void {
  const openssl = (...args: string[]) => execFileSync('openssl', args, { cwd: folder, stdio: 'pipe' });
  const key = ['-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:prime256v1', '-nodes'];
  openssl(
    'req',
    '-x509',
    ...key,
    '-keyout',
    'ca.key',
    '-out',
    'ca.crt',
    '-days',
    '2',
    '-subj',
    '/CN=Test authority',
  );
  for (const [name, subject, extension] of [
    ['server', '/CN=localhost', 'subjectAltName=DNS:localhost,IP:127.0.0.1'],
    ['client', '/CN=bench', 'extendedKeyUsage=clientAuth'],
  ]) {
    openssl('req', ...key, '-keyout', `${name}.key`, '-out', `${name}.csr`, '-subj', subject);
    writeFileSync(join(folder, `${name}.ext`), `${extension}\n`);
    const sign = [
      '-CA',
      'ca.crt',
      '-CAkey',
      'ca.key',
      '-CAcreateserial',
      '-days',
      '2',
      '-extfile',
      `${name}.ext`,
    ];
    openssl('x509', '-req', '-in', `${name}.csr`, '-out', `${name}.crt`, ...sign);
  }
  // Ours refuse a key that others can read, and openssl made it so.
  if (readFileSync(join(folder, 'client.key')).length === 0) throw new Error('openssl made no key');
}

const freePort = (): Promise<number> =>
  new Promise((resolve, reject) => {
    const server = createServer();
    server.once('error', reject);
    server.listen(0, '127.0.0.1', () => {
      const { port } = server.address() as { port: number };
      server.close(() => resolve(port));
    });
  });
