import type { Command } from 'commander';
import type { Profile } from '../config/schema.js';
import type { Facts, Finding } from '../doctor/doctor.js';
import {
  givenUrl,
  requestHeaders,
  serviceUrl,
  tokenOption,
  urlOption,
  whereItRuns,
} from './shared/service-url.js';
import { wrap } from './shared/wrap.js';

interface DoctorOptions {
  profile?: string;
  url: string;
  token?: string;
  json?: boolean;
  output?: string;
}

export function addDoctorCommands(program: Command): void {
  const command = (name: string) =>
    program
      .command(name)
      .option(
        '--profile <file>',
        'the profile to look at; when left out that of the running service, of the installed one, or glove.yaml in the configuration folder',
      )
      .addOption(urlOption('where the service is; when left out, the address of its profile'))
      .addOption(tokenOption());
  command('doctor')
    .description('Examine installation, permissions, ports, profile and service, and say what to do.')
    .option('--json', 'print JSON')
    .addHelpText('after', '\nExample:\n  tautline doctor\n\nEnds with 0 unless something is wrong.')
    .action(async (options: DoctorOptions, command: Command) => {
      const [{ findings }, { EXIT_CODE }] = await Promise.all([
        look(options, command),
        import('../errors.js'),
      ]);
      if (options.json) console.log(JSON.stringify(findings, null, 2));
      else for (const finding of findings) for (const line of findingLines(finding)) console.log(line);
      if (findings.some(({ state }) => state === 'wrong')) process.exitCode = EXIT_CODE.failed;
    });
  command('report')
    .description('Write one file to attach to a bug report, without names, addresses or device ids.')
    .option('--output <file>', 'where to write it', 'tautline-report.json')
    .addHelpText('after', '\nExample:\n  tautline report\n\nRead it before you pass it on: it is plain text.')
    .action(report);
}

interface Seen {
  facts: Facts;
  /** The profile in use, when there is one and it is sound. */
  profile: Profile | undefined;
  findings: Finding[];
  url: string;
  token: string | undefined;
}

async function look(options: DoctorOptions, command: Command): Promise<Seen> {
  const [
    { gatherFacts },
    { examine },
    { userPaths },
    { version },
    { situation, profileInUse, situationInUse, askHealth },
  ] = await Promise.all([
    import('../doctor/facts.js'),
    import('../doctor/doctor.js'),
    import('../install/paths.js'),
    import('../install/version.js'),
    import('../doctor/status.js'),
  ]);
  const asked = await situation(options.profile);
  const { url, token } = await whereItRuns(givenUrl(command), {
    ...asked,
    token: options.token ?? asked.token,
  });
  const health = serviceUrl(url, 'http', '/health');
  const runs = (await askHealth(health, token)).state === 'running';
  const inUse = runs ? await profileInUse(health, requestHeaders(health, token)) : undefined;
  const here = await situationInUse(asked, inUse, options.profile);
  const facts = await gatherFacts({ paths: userPaths(), version, here, health, token, inUse });
  return { facts, profile: here.data, findings: examine(facts), url, token };
}

const MOST_EVENTS = 100;
const MARK: Record<Finding['state'], string> = { fine: 'fine', attention: 'look', wrong: 'WRONG' };
const INDENT = ' '.repeat(7);

/** At most 80 columns. */
export function findingLines({ what, state, says, remedy }: Finding): string[] {
  const lines = wrap(`${what}: ${says}`, 80 - INDENT.length);
  const more = remedy === undefined ? [] : wrap(remedy, 80 - INDENT.length);
  return [...lines, ...more].map((line, i) => (i === 0 ? MARK[state].padEnd(INDENT.length) : INDENT) + line);
}

async function report(options: DoctorOptions, command: Command): Promise<void> {
  const [{ facts, profile, findings, url, token }, { bugReport }, os, { writeFile }, { TautlineError }] =
    await Promise.all([
      look(options, command),
      import('../doctor/report.js'),
      import('node:os'),
      import('node:fs/promises'),
      import('../errors.js'),
    ]);
  const { output = 'tautline-report.json' } = options;
  const headers = token === undefined ? undefined : { authorization: `Bearer ${token}` };
  const get = async (path: string): Promise<string | undefined> => {
    if (facts.service.state !== 'running') return undefined;
    const response = await fetch(serviceUrl(url, 'http', path), { headers }).catch(() => undefined);
    return response?.ok ? response.text() : undefined;
  };
  const [health, metrics] = await Promise.all([get('/health'), get('/metrics')]);
  const seen = health === undefined ? undefined : JSON.parse(health);
  const [{ eventsOf, readLogTail }, { userPaths }] = await Promise.all([
    import('../doctor/recent-events.js'),
    import('../install/paths.js'),
  ]);
  const text = bugReport(
    {
      version: facts.version,
      node: facts.nodeVersion,
      platform: `${os.type()} ${os.release()} ${os.arch()}`,
      findings,
      service: facts.service,
      events: eventsOf(await readLogTail(userPaths().log), MOST_EVENTS),
      profile,
      health: seen,
      metrics,
    },
    {
      home: os.homedir(),
      user: os.userInfo().username,
      host: os.hostname(),
      secrets: token === undefined ? [] : [token],
    },
  );
  try {
    await writeFile(output, text, { flag: 'wx', mode: 0o600 });
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    throw code === 'EEXIST'
      ? new TautlineError('fileDenied', `${output} is there already.`, 'Name another with --output.')
      : new TautlineError(
          'fileDenied',
          `${output}: it cannot be written (${code}).`,
          'Name another with --output.',
        );
  }
  console.log(
    `${output}: written. Names, addresses and device ids are taken out; read it before you pass it on.`,
  );
}
