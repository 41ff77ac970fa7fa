import type { Command } from 'commander';
import type { OpenxrAnswer } from '../stream/openxr-route.js';
import { serviceUrl, tokenOption, urlOption } from './shared/service-url.js';
import { wrap } from './shared/wrap.js';

const COLUMNS = 80;

interface StatusOptions {
  url: string;
  token?: string;
  json?: boolean;
}

export function addOpenxrCommands(program: Command): void {
  const openxr = program
    .command('openxr')
    .description('Give OpenXR applications the hands of your gloves: register the layer, or look at it.')
    .addHelpText(
      'after',
      '\nExamples:\n  tautline openxr on\n  tautline openxr status\n\ndocs/openxr.md says what applications get.',
    );
  openxr
    .command('on')
    .description('Register the layer for this user: every OpenXR application that starts afterwards has it.')
    .option('--dry-run', 'say what would be done, and do nothing')
    .addHelpText('after', '\nExample:\n  tautline openxr on\n\n`tautline openxr off` takes it back.')
    .action(async ({ dryRun }: { dryRun?: boolean }) => {
      const [{ openxrSystem, readRegistration }, { registerSteps }, { follow }] = await modules();
      const system = openxrSystem();
      await follow(await registerSteps(system, await readRegistration(system)), dryRun);
      if (dryRun) return;
      const now = await readRegistration(system);
      console.log('On: every OpenXR application that starts from now on has the layer.');
      for (const line of now.problems.flatMap(problemLines)) console.log(line);
      if (!now.loads) process.exitCode = (await import('../errors.js')).EXIT_CODE.failed;
    });
  openxr
    .command('off')
    .description('Take the registration back. Applications that run go on with the layer until they end.')
    .option('--dry-run', 'say what would be done, and do nothing')
    .addHelpText('after', '\nExample:\n  tautline openxr off')
    .action(async ({ dryRun }: { dryRun?: boolean }) => {
      const [{ openxrSystem, readRegistration }, { emptyKeySteps, unregisterSteps }, { follow }] =
        await modules();
      const system = openxrSystem();
      await follow(unregisterSteps(system, await readRegistration(system)), dryRun);
      if (dryRun) return;
      await follow(emptyKeySteps(system), false);
      const left = (await readRegistration(system)).entries;
      console.log('Off: nothing of yours is registered.');
      for (const { manifest } of left) console.log(`Still there, and not yours alone: ${manifest}`);
    });
  openxr
    .command('status')
    .description('What will the loader do, which applications have the layer, and why is a hand not served?')
    .addOption(urlOption('where the service is; when left out, the address of its profile'))
    .addOption(tokenOption())
    .option('--json', 'print JSON')
    .addHelpText(
      'after',
      '\nExample:\n  tautline openxr status\n\nEnds with 0 if applications will have the layer, else with 1.',
    )
    .action(status);
}

const modules = () =>
  Promise.all([
    import('../install/openxr-registration.js'),
    import('../install/openxr-steps.js'),
    import('./shared/follow.js'),
  ]);

async function status({ token, json }: StatusOptions, command: Command): Promise<void> {
  const [{ readRegistration }, { situation }, { givenUrl }, { EXIT_CODE }] = await Promise.all([
    import('../install/openxr-registration.js'),
    import('../doctor/status.js'),
    import('./shared/service-url.js'),
    import('../errors.js'),
  ]);
  const [registration, here] = await Promise.all([readRegistration(), situation()]);
  const url = serviceUrl(givenUrl(command) ?? here.url, 'http', '/openxr');
  const answer = await askOpenxr(url, token ?? here.token);
  if (json) {
    const service = typeof answer === 'string' ? { problem: answer } : { applications: answer.applications };
    console.log(JSON.stringify({ registration, ...service }, null, 2));
  } else {
    for (const line of registrationLines(registration)) console.log(line);
    const lines = typeof answer === 'string' ? [answer] : applicationLines(answer.applications);
    for (const line of lines) console.log(line);
  }
  if (!registration.loads || registration.problems.length > 0) process.exitCode = EXIT_CODE.failed;
}

/** @returns one line when there is no answer */
async function askOpenxr(url: URL, token: string | undefined): Promise<OpenxrAnswer | string> {
  const headers = token === undefined ? undefined : { authorization: `Bearer ${token}` };
  const response = await fetch(url, { headers, signal: AbortSignal.timeout(3000) }).catch(() => undefined);
  if (!response) return `Service: none answers at ${url.host}, so no hand is served. Start it: tautline run.`;
  if (response.status === 404)
    return 'Service: an older version, which does not keep applications. Restart it.';
  if (!response.ok) {
    return `Service: it refuses to answer (${response.status}). Give its token: --token, or TAUTLINE_TOKEN.`;
  }
  return (await response.json()) as OpenxrAnswer;
}

type Registration = Awaited<ReturnType<typeof import('../install/openxr-registration.js').readRegistration>>;

export function registrationLines(registration: Registration): string[] {
  const { entries, loads, disabledBy, problems } = registration;
  const [first] = entries;
  const head = loads
    ? `Registered: the loader gives applications ${first.library}, by ${first.manifest}.`
    : entries.length > 0 && disabledBy === undefined
      ? 'Registered, but the loader cannot do what it should.'
      : entries.length > 0
        ? 'Registered, and turned off here.'
        : registration.supported
          ? 'Not registered: OpenXR applications run without the glove. `tautline openxr on` registers the layer.'
          : 'Not registered.';
  return [...wrap(head, COLUMNS), ...problems.flatMap(problemLines)];
}

const problemLines = (problem: string): string[] =>
  wrap(problem, COLUMNS - 2).map((line, i) => (i === 0 ? `! ${line}` : `  ${line}`));

export function applicationLines(applications: OpenxrAnswer['applications']): string[] {
  if (applications.length === 0)
    return ['Applications: none has loaded the layer since the service started.'];
  return applications.flatMap((one) => {
    const { program, app, runtime, runtimeVersion, since, until, served } = one;
    const name = app === undefined || app === program ? program : `${app} (${program})`;
    const over = runtime === undefined ? '' : ` over ${runtime} ${runtimeVersion ?? ''}`.trimEnd();
    const when = until === undefined ? `since ${since}` : `from ${since} to ${until}`;
    const head = `${name}${over}, ${when}${served ? '' : ': not served, by openxr.allow or openxr.deny of the profile'}`;
    return [...wrap(head, COLUMNS), ...one.hands.flatMap((hand) => indented(handLine(hand)))];
  });
}

const indented = (line: string): string[] => wrap(line, COLUMNS - 2).map((part) => `  ${part}`);

function handLine({
  hand,
  fingers,
  wrist,
  inputs,
  ageUs,
  why,
}: OpenxrAnswer['applications'][number]['hands'][number]): string {
  const age = ageUs === undefined ? '' : `, ${(ageUs / 1000).toFixed(1)} ms old`;
  const shown =
    fingers === 'glove'
      ? `the glove's fingers on the wrist of the ${wrist === 'camera' ? "headset's camera hand" : 'controller'}${age}`
      : fingers === 'runtime'
        ? "the headset's own hand"
        : fingers === 'nobody'
          ? 'no hand'
          : 'not asked for';
  return `${hand}: ${shown}${inputs ? '; inputs from the glove' : ''}.${why === undefined ? '' : ` ${why}`}`;
}
