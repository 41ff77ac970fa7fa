import type { Command } from 'commander';
import { TautlineError } from '../errors.js';
import { packageFile } from '../package-files.js';
import { answerIn, refusal, serviceUrl, urlOption } from './shared/service-url.js';

/** The demos in the package, by the names of their pages. */
export const DEMOS: Readonly<Record<string, string>> = {
  catch: 'throw a ball from hand to hand and catch it',
  keys: 'four keys that sound, and stop the fingers that press them',
  squeeze: 'put a ball, a can or a box into the hand and feel it',
  draw: 'a kaleidoscope that trigger, squeeze, stick and buttons paint',
};
/** For those who have no profile: there is something to see with both hands. */
const BOTH_HANDS = packageFile('config/simulated-hands.yaml');
const ANSWERS_WITHIN_MS = 2000;

interface DemoOptions {
  url: string;
  open: boolean;
}

export function addDemoCommand(program: Command): void {
  program
    .command('demo')
    .description(
      'Show a demo in the browser, with your glove or with two simulated hands; without a name, list them.',
    )
    .argument('[name]', Object.keys(DEMOS).join(', '))
    .addOption(urlOption('where the service is, or is to be if none runs'))
    .option('--no-open', 'only say the address')
    .addHelpText(
      'after',
      '\nExample:\n  tautline demo catch\n\nIf no service runs, one is started, and Ctrl-C ends it.',
    )
    .action(show);
}

async function show(name: string | undefined, { url, open }: DemoOptions): Promise<void> {
  if (name === undefined) {
    for (const [each, what] of Object.entries(DEMOS))
      console.log(`  tautline demo ${each.padEnd(8)} ${what}`);
    return;
  }
  if (!Object.hasOwn(DEMOS, name)) {
    const known = Object.keys(DEMOS).join(', ');
    throw new TautlineError(
      'usage',
      `There is no demo ${JSON.stringify(name)}.`,
      `Name one of these: ${known}.`,
    );
  }
  const page = serviceUrl(url, 'http', `/demos/${name}.html`);
  const say = (address: string): void => {
    console.log(`The demo is at ${address}`);
    if (open && process.stdout.isTTY) void openInBrowser(address);
  };
  if (await isThere(page)) {
    say(page.href);
    return;
  }
  const { run } = await import('./run.js');
  await run({ listen: page.host, logLevel: 'warn', builtIn: BOTH_HANDS }, (address) =>
    say(`${address}${page.pathname}`),
  );
}

/** @throws TautlineError when something else answers there, or a service that asks for its token */
async function isThere(page: URL): Promise<boolean> {
  const health = new URL('/health', page);
  const within = () => AbortSignal.timeout(ANSWERS_WITHIN_MS);
  let answer: Response;
  try {
    answer = await fetch(health, { signal: within() });
  } catch {
    return false;
  }
  const known = answerIn(await answer.text());
  if (answer.status !== 200 || (known as { name?: string })?.name !== 'tautline') {
    throw refusal(page, answer.status, known);
  }
  if ((await fetch(page, { method: 'HEAD', signal: within() })).ok) return true;
  throw new TautlineError(
    'notSupported',
    `The service at ${page.host} has no demos.`,
    'Install the program again.',
  );
}

/** As the system does it; whoever has no browser here reads the address. */
async function openInBrowser(address: string): Promise<void> {
  const { spawn } = await import('node:child_process');
  const [command, ...args] =
    process.platform === 'darwin'
      ? ['open', address]
      : process.platform === 'win32'
        ? ['rundll32', 'url.dll,FileProtocolHandler', address]
        : ['xdg-open', address];
  const child = spawn(command, args, { stdio: 'ignore', detached: true });
  child.on('error', () => {});
  child.unref();
}
