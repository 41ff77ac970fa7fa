import { type ChildProcess, spawn } from 'node:child_process';
import {
  chmodSync,
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { delimiter, join, resolve } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { buildLayer, LINUX } from '../../scripts/openxr-layer.js';
import { recordSimulated } from '../../scripts/simulated-session.js';
import { RUNTIME } from '../commands/cli.js';
import { startBroker, stopAllBrokers, type TestBroker } from '../fleet/mosquitto.js';
import { makePieces } from '../fleet/pieces.js';
import { trackedHand } from '../hand/tracked-hand.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/**
 * Every command that the documents name is run as it stands there, in a folder that holds the files they speak of; but
 * for addresses, which are the test's own. What a shell has to be root for, or a registry, is listed with its reason.
 */
const DOCUMENTS = ['README.md', 'DEVELOPERS.md'];
for (const name of readdirSync('docs').sort()) if (name.endsWith('.md')) DOCUMENTS.push(`docs/${name}`);
const PROGRAMS = 'tautline|npm|npx|node|sudo|systemctl|journalctl|loginctl';
const COMMAND = new RegExp(`^ {4}(?:\\$ )?((?:${PROGRAMS}) .*)$|\`((?:${PROGRAMS}) [^\`]*)\``, 'gm');

/**
 * Comments go, of `[--option a|b]` the option and the first choice stay, a profile that is left open is the one here, and
 * a package's command is the command.
 */
const commandIn = (text: string): string =>
  text
    .replace(/ {2,}#.*/, '')
    .replace(/[[\]]/g, '')
    .replace(/(\w)\|\w+/g, '$1')
    .replace(/--profile (FILE|…)/, '--profile my-glove.yaml')
    .replace(/^npx tautline /, 'tautline ')
    .replaceAll(/\s+/g, ' ')
    .trim();

const commands = new Map<string, string>();
for (const path of DOCUMENTS) {
  for (const [, line, inline] of readFileSync(path, 'utf8').matchAll(COMMAND)) {
    const command = commandIn(line ?? inline);
    if (!commands.has(command)) commands.set(command, path);
  }
}
const all = [...commands];
/** A command that is spoken of by its name alone, without what it has to be given. */
const NAMED =
  /^tautline (info|export|replay|record|session|build (export|import|compare)|firmware (write|upload|status))$/;
const ours = all.filter(([command]) => command.startsWith('tautline ') && !NAMED.test(command));
const others = all.filter(([command]) => !command.startsWith('tautline '));

/** What goes on until it is ended, and what it says once it is at work. */
const GOES_ON: [RegExp, RegExp][] = [
  [/^tautline run( |$)/, /ws:\/\/.*\/stream/],
  [/^tautline replay (?!.*--compare)/, /ws:\/\/.*\/stream/],
  [/^tautline watch/, /thumb/],
  [/^tautline record/, /Recording into/],
  [/^tautline collect/, /Collecting as/],
  [/^tautline stations/, /0 stations/],
  [/^tautline check/, /1\/\d+ /],
  [/^tautline fit(?!.*--(list|undo|use|from-joints|from-use))/, /1\/\d+ /],
  [/^tautline feel \w/, /1\/4 /],
];
const ENDS_WITH: [RegExp, RegExp][] = [
  [/^tautline sizing/, /N/],
  [/^tautline wear/, /hand\): \d+ session|no sessions|No session/],
  [/^tautline new/, /my-glove\.yaml: written\. \d+ channels/],
  [/^tautline info/, /samples/],
  [/^tautline fit --(list|use)/, /Kim/],
  [/^tautline fit --undo/, /^Undone/],
  [/^tautline fit --from-use/, /^Seen: \d+ s of motion/],
  [/^tautline fit .*--from-joints/, /Bones fitted/],
  [/^tautline replay .*--compare/, /agree/],
  [/^tautline (arm|disarm)/, /armed/i],
  [/^tautline (doctor|status)/, /installed|node/],
  [/^tautline report/, /report/],
  [/^tautline (install|uninstall)/, /tautline\.service/],
  [/^tautline openxr (on|off)/, /^(On|Off): /m],
  [/^tautline openxr status/, /Not registered/],
  [/^tautline export/, /^morning\.\w+: \d/],
  [/^tautline session/, /written/],
  [/^tautline firmware --help/, /To update:/],
  [/^tautline feel$/, /To begin with:/],
  [/^tautline firmware status/, /firmware|nothing was heard/],
  [/^tautline firmware write/, /^my-firmware: firmware \d/],
  [/^tautline build (export|import)/, /written/],
  [/^tautline build compare/, /:$/m],
  [/^tautline extension$/, /extension/],
  [/^tautline demo /, /The demo is at/],
  [/^tautline demo$/, /tautline demo catch/],
];
/** Commands that ask a running service. */
const ASKS =
  /^tautline (demo |openxr status|firmware status|arm|disarm|watch|doctor|status|report|feel|fit (?!.*--profile)|record (?!.*--profile))/;
/** Commands that go to a broker. */
const AT_BROKER = /^tautline (collect|stations)/;
const SERVES = /^tautline (run|replay (?!.*--compare))/;

/** How the commands of others come to be run, or why they are not. */
const OTHERS: [RegExp, () => unknown][] = [
  [/^npm ci && npm test$/, () => expect(readFileSync('.ci/run', 'utf8')).toContain('npm ci\nnpm test')],
  // You are looking at it; the builds are its set-up.
  [/^(npm test|npx vitest run tests\/\S+)$/, () => expect(packageJson.scripts.test).toContain('vitest run')],
  [/^npm run check$/, () => expect(packageJson.scripts.test).toContain('npm run --silent check')],
  [
    /^npm run test:portable$/,
    () => expect(readFileSync('.github/workflows/ci.yml', 'utf8')).toContain('npm run test:portable'),
  ],
  [/^npm run format$/, () => expect(packageJson.scripts.check).toContain('biome check .')],
  [/^npm run build$/, () => expect(readFileSync('tests/setup.ts', 'utf8')).toContain("'build'")],
  [
    /^(npm ci && )?npm start$/,
    () => expect(packageJson.scripts.start).toBe('npm run --silent build && node dist/main.js run'),
  ],
  [/^npm ci && npm run build && npm pack$/, () => isIn('end-to-end/package', 'pack(root)')],
  [
    /^npm install (--global )?\.\.?\/(tautline\/)?tautline-.*\.tgz$/,
    () => isIn('end-to-end/package', 'installPacked(packed.file'),
  ],
  [/^npm run generate$/, () => isIn('published/asyncapi', 'is up to date (npm run generate)')],
  [/^npm run licences$/, () => isIn('scripts/licences', 'dependencies.md')],
  [/^npm run build:openxr$/, () => isIn('openxr/build', 'buildLayer(LINUX')],
  // It needs Wine and a compiler for Windows: half a gigabyte.
  [
    /^npm run test:windows$/,
    () => expect(readFileSync('tests/windows.ts', 'utf8')).toContain('openxr/windows'),
  ],
  [/^npm run (release|smoke)( |$)/, () => isIn('end-to-end/release', "release('minor', '--dry-run')")],
  [/^npm run fuzz -- link /, () => isIn('fuzz/link', 'fuzzLink(')],
  [/^npm run fuzz -- fleet /, () => isIn('fuzz/fleet', 'fuzzFleet(')],
  // Figures of minutes and hours on a machine that does nothing else; their parts have tests.
  [/^npm run (bench|load)$/, () => isIn('scripts/bench', 'scripts/bench/')],
  [/^npx tsx scripts\/(\S+)/, () => {}],
  [/^node --enable-source-maps /, () => isIn('scripts/service-bundle', 'a line of a stack trace')],
  [/^npx -y -p node@22 -- node --import tsx scripts\/(\S+)/, () => {}],
  // They need root, a session of a user or what the test of the package has installed.
  [/^(sudo|loginctl|journalctl) /, () => {}],
  [/^npm uninstall --global tautline$/, () => {}],
];
function isIn(test: string, text: string): void {
  expect(readFileSync(`tests/${test}.test.ts`, 'utf8')).toContain(text);
}

let template: string;
let service: ServiceProcess;
let broker: TestBroker;
let tracker: NodeJS.Timeout | undefined;
const folders: string[] = [];
const children = new Set<ChildProcess>();

beforeAll(async () => {
  template = mkdtempSync(join(tmpdir(), 'tautline-commands-'));
  folders.push(template);
  symlinkSync(resolve('config'), join(template, 'config'));
  const simulated = `${readFileSync('config/simulated.yaml', 'utf8')}\nstream: { port: 0 }\n`;
  writeFileSync(join(template, 'my-glove.yaml'), simulated);
  writeFileSync(join(template, 'shared-glove.yaml'), readFileSync('config/five-curl.yaml', 'utf8'));
  writeFileSync(join(template, 'hand.json'), JSON.stringify(trackedHand(0.2)));
  writeFileSync(join(template, 'FILE'), 'the-token-of-an-app-0123456789\n', { mode: 0o600 });
  for (const [name, hands] of Object.entries({
    morning: ['right'],
    left: ['left'],
    right: ['right'],
  } as const)) {
    await recordSimulated({
      file: join(template, `${name}.mcap`),
      seconds: name === 'morning' ? 21 : 2,
      rateHz: 100,
      hands,
      joints: true,
    });
  }
  // What `tautline openxr on` registers.
  if (process.platform === 'linux') {
    buildLayer(LINUX, join('dist/openxr', LINUX.folder), packageJson.version);
  }
  broker = await startBroker();
  for (const name of ['recorder', 'onlooker'])
    writeFileSync(join(template, `${name}.password`), 'p\n', { mode: 0o600 });
  writeFileSync(join(template, 'ca.crt'), '');
  const pieces = await makePieces(join(template, 'collected'));
  for (const [i, piece] of pieces.entries()) cpSync(piece, join(template, `piece-${i + 1}.mcap`));
  mkdirSync(join(template, 'bin'));
  program('tautline', `exec "${process.execPath}" "${resolve('dist/main.js')}" "$@" $TAUTLINE_ADDRESS`);
  // In place of systemd's user manager, which no test can have.
  program('systemctl', 'exit 0');
  service = await startServiceProcess(simulated);
  // An app that knows where a tracker is, for the fit of its mount.
  const tracking = await service.connect();
  tracker = setInterval(() => {
    const pose = { position: [0, 1, 0], orientation: [0, 0, 0, 1] };
    tracking.send({ type: 'tracker', hand: 'right', of: 'tracker', ...pose });
  }, 100);
  for (let times = 0; times < 2; times++) {
    const fitted = await run('tautline fit --person Kim --from-joints hand.json');
    expect(fitted).toMatchObject({ code: 0 });
  }
}, 120_000);
afterAll(async () => {
  clearInterval(tracker);
  for (const child of children) child.kill('SIGKILL');
  await stopAllServices();
  await stopAllBrokers();
  for (const folder of folders) rmSync(folder, { recursive: true, force: true });
});

function program(name: string, script: string): void {
  writeFileSync(join(template, 'bin', name), `#!/bin/sh\n${script}\n`);
  chmodSync(join(template, 'bin', name), 0o755);
}

const addressFor = (command: string): string => {
  if (ASKS.test(command)) return `--url 127.0.0.1:${service.port}`;
  if (AT_BROKER.test(command))
    return `--broker ${broker.url}${/collect/.test(command) ? ' --keep-free-mb 1' : ''}`;
  // There is no other glove to meet here.
  if (/^tautline new/.test(command)) return '--simulated';
  return SERVES.test(command) ? '--listen 127.0.0.1:0' : '';
};

/** @param atWork what it says once it is at work, and may be ended */
async function run(command: string, atWork?: RegExp): Promise<{ code: number | null; output: string }> {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-commands-'));
  folders.push(folder);
  cpSync(template, folder, { recursive: true, verbatimSymlinks: true });
  if (command.startsWith('tautline record')) rmSync(join(folder, 'morning.mcap'));
  if (command.startsWith('tautline build export')) rmSync(join(folder, 'shared-glove.yaml'));
  if (command.startsWith('tautline new')) rmSync(join(folder, 'my-glove.yaml'));
  const child = spawn('bash', ['-c', command.replace(/^/, 'exec ')], {
    cwd: folder,
    env: {
      HOME: folder,
      XDG_CONFIG_HOME: join(folder, 'configuration'),
      XDG_DATA_HOME: join(folder, 'data'),
      XDG_STATE_HOME: join(folder, 'state'),
      XDG_RUNTIME_DIR: RUNTIME,
      LANG: 'C.UTF-8',
      PATH: `${join(template, 'bin')}${delimiter}${process.env.PATH}`,
      TAUTLINE_ADDRESS: addressFor(command),
    },
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  children.add(child);
  let output = '';
  const take = (text: string) => {
    output += text;
    if (atWork?.test(output)) child.kill('SIGINT');
  };
  child.stdout.setEncoding('utf8').on('data', take);
  child.stderr.setEncoding('utf8').on('data', take);
  const code = await new Promise<number | null>((done) => child.on('close', done));
  children.delete(child);
  return { code, output };
}

it('finds the commands', () => {
  expect(ours.length).toBeGreaterThan(35);
  expect(others.length).toBeGreaterThan(15);
});

describe.runIf(process.platform === 'linux')('our own', () => {
  it.each(ours)('%s (%s)', async (command) => {
    const goesOn = GOES_ON.find(([pattern]) => pattern.test(command));
    if (goesOn) {
      const { output } = await run(command, goesOn[1]);
      expect(output).toMatch(goesOn[1]);
      return;
    }
    const ends = ENDS_WITH.find(([pattern]) => pattern.test(command));
    expect(ends, `no expectation of ${command}`).toBeDefined();
    const { code, output } = await run(command);
    expect(output).toMatch(ends![1]);
    // It may well find something wrong with this machine, or have too little to go by.
    if (!/^tautline (doctor|status|openxr status|fit --from-use|wear)/.test(command))
      expect(code, output).toBe(0);
  });
});

it.each(others)('%s (%s)', (command) => {
  const known = OTHERS.find(([pattern]) => pattern.test(command));
  expect(known, `nothing is known of ${command}`).toBeDefined();
  known![1]();
  const script = /npm run (\S+)/.exec(command)?.[1];
  if (script) expect(Object.keys(packageJson.scripts)).toContain(script);
  const file = /(?:scripts|tests)\/\S+/.exec(command)?.[0];
  if (file) expect(existsSync(file), file).toBe(true);
});
