import { existsSync } from 'node:fs';
import type { Command } from 'commander';
import { packageFile } from '../package-files.js';
import {
  givenUrl,
  requestHeaders,
  serviceUrl,
  tokenOption,
  urlOption,
  whereItRuns,
} from './shared/service-url.js';
import { wrap } from './shared/wrap.js';

const COLUMNS = 80;

interface StatusOptions {
  token?: string;
  json?: boolean;
}

export function addInstallCommands(program: Command): void {
  program
    .command('install')
    .description('Let the service start by itself whenever you log in, and start it now.')
    .option('--profile <file>', 'your gloves and you; when left out, glove.yaml in the configuration folder')
    .option('--openxr', 'register the OpenXR layer, too, as `tautline openxr on` does')
    .option('--dry-run', 'say what would be done, and do nothing')
    .addHelpText(
      'after',
      '\nExamples:\n  tautline install --dry-run\n  tautline install --profile my-glove.yaml\n\nNothing is done as root. Gloves start disarmed, as always. `tautline uninstall` takes it back.',
    )
    .action(async ({ profile, openxr, dryRun }: { profile?: string; openxr?: boolean; dryRun?: boolean }) => {
      const registering = openxr ? await openxrSteps('on') : [];
      const [{ installSteps }, { userPaths }, { resolve }] = await Promise.all([
        import('../install/plan.js'),
        import('../install/paths.js'),
        import('node:path'),
      ]);
      const paths = userPaths();
      const uid = process.getuid?.() ?? 0;
      const { readInstalled } = await import('../install/installed.js');
      // Installed again, for an update, it keeps the profile that it was installed with.
      const named = profile ?? (await readInstalled(paths, uid)).profile;
      const used = named ?? (existsSync(paths.profile) ? paths.profile : undefined);
      // A mistake in it would be found by nobody: the service just would not come up.
      if (used !== undefined) await (await import('../config/load.js')).loadProfile(used);
      const main = packageFile('dist/main.js');
      if (/[\\/](_npx|\.npx)[\\/]/.test(main)) {
        const { TautlineError } = await import('../errors.js');
        throw new TautlineError(
          'notSupported',
          `${main} lies in a cache that npx clears.`,
          'Install the program for good first, with npm install --global.',
        );
      }
      const starter = {
        node: process.execPath,
        main,
        ...(named === undefined ? {} : { profile: resolve(named) }),
        // The journal keeps what systemd starts.
        ...(process.platform === 'darwin' || process.platform === 'win32' ? { log: paths.log } : {}),
      };
      const { follow } = await import('./shared/follow.js');
      follow([...installSteps(process.platform, paths, starter, uid), ...registering], dryRun);
      if (dryRun) return;
      console.log(
        used === undefined
          ? `Installed. No profile yet: the simulated glove is shown. Put yours at ${paths.profile}, then do this again.`
          : `Installed. Its profile: ${used}; sessions: ${paths.sessions}.`,
      );
      if (process.platform === 'linux') {
        const rule = packageFile('config/udev/70-tautline.rules');
        console.log(
          `To open serial ports without sudo and without the adapters' delay, once, as root:\n  sudo cp ${rule} /etc/udev/rules.d/ && sudo udevadm control --reload && sudo udevadm trigger\nTo have the service run while nobody is logged in: loginctl enable-linger`,
        );
      }
      if (!openxr && (await mayRegister())) {
        console.log('To give OpenXR applications your hands, too: tautline openxr on');
      }
      console.log('See `tautline status`, and `tautline doctor` if something is not right.');
    });

  program
    .command('uninstall')
    .description(
      'No longer start the service at log-in, and end it; take the OpenXR layer back. Profiles, fits and sessions stay.',
    )
    .option('--dry-run', 'say what would be done, and do nothing')
    .addHelpText('after', '\nExample:\n  tautline uninstall')
    .action(async ({ dryRun }: { dryRun?: boolean }) => {
      const [{ uninstallSteps }, { userPaths }] = await Promise.all([
        import('../install/plan.js'),
        import('../install/paths.js'),
      ]);
      const paths = userPaths();
      const starter = { node: process.execPath, main: packageFile('dist/main.js') };
      const steps = uninstallSteps(process.platform, paths, starter, process.getuid?.() ?? 0);
      const { follow } = await import('./shared/follow.js');
      follow([...steps, ...(await openxrSteps('off'))], dryRun);
      if (!dryRun)
        console.log(`Uninstalled. Your profile, fits and sessions stay: ${paths.config}, ${paths.sessions}.`);
    });

  program
    .command('status')
    .description(
      'Is the service installed, does it run, since when, which version, where, with which profile?',
    )
    .addOption(urlOption('where the service is; when left out, the address of its profile'))
    .addOption(tokenOption())
    .option('--json', 'print JSON')
    .addHelpText(
      'after',
      '\nExample:\n  tautline status\n\nEnds with 0 if it runs and nothing of its gloves is to be mended, else with 1.',
    )
    .action(async ({ token, json }: StatusOptions, command: Command) => {
      const [{ allWell, gatherStatus, statusLines, situation, NOTE }, { EXIT_CODE }] = await Promise.all([
        import('../doctor/status.js'),
        import('../errors.js'),
      ]);
      const here = await situation();
      const known = await whereItRuns(givenUrl(command), { ...here, token: token ?? here.token });
      const health = serviceUrl(known.url, 'http', '/health');
      const status = await gatherStatus(health, known.token, here, requestHeaders(health, known.token));
      const fold = (line: string): string[] =>
        line.startsWith(NOTE)
          ? wrap(line.trimStart(), COLUMNS - NOTE.length).map((part) => NOTE + part)
          : [line];
      console.log(json ? JSON.stringify(status, null, 2) : statusLines(status).flatMap(fold).join('\n'));
      if (!allWell(status)) process.exitCode = EXIT_CODE.failed;
    });
}

async function openxrSteps(what: 'on' | 'off'): Promise<import('../install/plan.js').Step[]> {
  const [{ openxrSystem, readRegistration }, { registerSteps, unregisterSteps }] = await Promise.all([
    import('../install/openxr-registration.js'),
    import('../install/openxr-steps.js'),
  ]);
  const system = openxrSystem();
  const now = await readRegistration(system);
  return what === 'on' ? registerSteps(system, now) : unregisterSteps(system, now);
}

/** There is a layer for this machine, it is whole, and nobody has registered it. */
async function mayRegister(): Promise<boolean> {
  const { readRegistration } = await import('../install/openxr-registration.js');
  const { supported, filesProblem, entries } = await readRegistration();
  return supported && filesProblem === undefined && entries.length === 0;
}
