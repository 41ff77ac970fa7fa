import { TautlineError } from '../errors.js';

/**
 * What makes a system start the service at log-in: the text of a systemd user unit, a launchd agent or a Windows task.
 * Pure: plain data in, text out.
 */
export interface Autostart {
  /** Absolute path of the node program. */
  node: string;
  /** Absolute path of this program's main.js. */
  main: string;
  /** Absolute path; undefined: `tautline run` takes the profile in the configuration folder, or the simulated one. */
  profile?: string;
  /** Where the service logs to; undefined: the system keeps what it prints on stderr. */
  log?: string;
}

/** systemd restarts a service that has been silent for this long. */
export const WATCHDOG_S = 20;

export const runArguments = ({ main, profile, log }: Autostart): string[] => [
  main,
  'run',
  ...(profile === undefined ? [] : ['--profile', profile]),
  '--log-level',
  'info',
  ...(log === undefined ? [] : ['--log-file', log]),
];

/**
 * None of these formats can hold every character that a file name may have.
 * @throws TautlineError `usage` for a path that could break out of its line
 */
function wordsOf(autostart: Autostart): [string, ...string[]] {
  const words: [string, ...string[]] = [autostart.node, ...runArguments(autostart)];
  for (const word of words) {
    if (!/\p{Cc}|[\u2028\u2029\ufffe\uffff]/u.test(word)) continue;
    throw new TautlineError(
      'usage',
      `${JSON.stringify(word)} has a control character in its name; no service can be installed from it.`,
      'Rename it.',
    );
  }
  return words;
}

/** systemd.service(5), "Command lines", and systemd.syntax(7), "Quoting": `%` and `$` have a meaning, too. */
const systemdWord = (word: string): string =>
  `"${word.replace(/[\\"]/g, '\\$&').replaceAll('%', '%%').replaceAll('$', '$$$$')}"`;

const ENV = '/usr/bin/env';

/**
 * A systemd user unit. Hardened as far as serial ports and the system bus allow: options that hide parts of the file
 * system or of /dev need a user namespace in a user unit, and MemoryDenyWriteExecute forbids what a JavaScript engine
 * does.
 */
export function systemdUnit(autostart: Autostart): string {
  const words = wordsOf(autostart);
  // The program itself, unlike its arguments, may have no quotes and no backslashes in its path.
  const command = (/["'\\$]/.test(autostart.node) ? [ENV, ...words] : words).map(systemdWord).join(' ');
  return `# Written by \`tautline install\`, which overwrites it; changes of yours: systemctl --user edit tautline
[Unit]
Description=Tautline, from force-feedback gloves to hands
StartLimitIntervalSec=300
StartLimitBurst=10

[Service]
# Ready when the stream listens. A process beside the service passes on what it says.
Type=notify
NotifyAccess=all
ExecStart=${command}
# Whatever ends it, the glove has freed every finger by itself long before it is back.
Restart=on-failure
RestartSec=2
# Command line and profile do not mend themselves.
RestartPreventExitStatus=2 3
WatchdogSec=${WATCHDOG_S}
# What hangs cannot tidy up, and a core dump helps nobody.
WatchdogSignal=SIGKILL
TimeoutStartSec=30
# SIGTERM, to the service alone, frees every finger first and ends within 3 s.
KillMode=mixed
TimeoutStopSec=6

UMask=0077
NoNewPrivileges=yes
LockPersonality=yes
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
# Apps over IP; the bus, the log and the watchdog over Unix sockets; the list of addresses over netlink.
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6 AF_NETLINK
SystemCallArchitectures=native
LimitCORE=0

[Install]
WantedBy=default.target
`;
}

/** The words of ExecStart in a unit that we wrote; undefined when it is not one. */
export function commandOfUnit(text: string): string[] | undefined {
  const line = /^ExecStart=(.*)$/m.exec(text)?.[1];
  if (line === undefined) return undefined;
  const words = [...line.matchAll(/"((?:[^"\\]|\\.)*)"/g)].map(([, word]) =>
    word.replaceAll('$$', '$').replaceAll('%%', '%').replace(/\\(.)/g, '$1'),
  );
  return words[0] === ENV ? words.slice(1) : words;
}

const xml = (text: string): string =>
  text.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;').replaceAll('"', '&quot;');

/** launchd.plist(5). */
export function launchAgent(autostart: Autostart): string {
  const words = wordsOf(autostart).map((word) => `    <string>${xml(word)}</string>`);
  return `<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE plist PUBLIC "-//Apple//DTD PLIST 1.0//EN" "http://www.apple.com/DTDs/PropertyList-1.0.dtd">
<plist version="1.0">
<dict>
  <key>Label</key>
  <string>tautline</string>
  <key>ProgramArguments</key>
  <array>
${words.join('\n')}
  </array>
  <key>RunAtLoad</key>
  <true/>
  <key>KeepAlive</key>
  <dict>
    <key>SuccessfulExit</key>
    <false/>
  </dict>
  <key>ThrottleInterval</key>
  <integer>10</integer>
  <key>ProcessType</key>
  <string>Interactive</string>
  <key>ExitTimeOut</key>
  <integer>6</integer>
  <key>Umask</key>
  <integer>63</integer>
</dict>
</plist>
`;
}

/** A word of a Windows command line, as CommandLineToArgvW takes it apart. */
const windowsWord = (word: string): string =>
  /[\s"]/.test(word) || word === ''
    ? `"${word.replace(/(\\*)"/g, '$1$1\\"').replace(/(\\+)$/, '$1$1')}"`
    : word;

/** Task Scheduler schema 1.2 (from memory); elements in the order of its reference pages. */
export function scheduledTask(autostart: Autostart): string {
  const [node, ...words] = wordsOf(autostart);
  return `<?xml version="1.0" encoding="UTF-16"?>
<Task version="1.2" xmlns="http://schemas.microsoft.com/windows/2004/02/mit/task">
  <RegistrationInfo>
    <Description>Tautline, from force-feedback gloves to hands</Description>
  </RegistrationInfo>
  <Triggers>
    <LogonTrigger>
      <Enabled>true</Enabled>
    </LogonTrigger>
  </Triggers>
  <Principals>
    <Principal id="Author">
      <LogonType>InteractiveToken</LogonType>
      <RunLevel>LeastPrivilege</RunLevel>
    </Principal>
  </Principals>
  <Settings>
    <AllowStartOnDemand>true</AllowStartOnDemand>
    <RestartOnFailure>
      <Interval>PT1M</Interval>
      <Count>10</Count>
    </RestartOnFailure>
    <MultipleInstancesPolicy>IgnoreNew</MultipleInstancesPolicy>
    <DisallowStartIfOnBatteries>false</DisallowStartIfOnBatteries>
    <StopIfGoingOnBatteries>false</StopIfGoingOnBatteries>
    <AllowHardTerminate>true</AllowHardTerminate>
    <StartWhenAvailable>true</StartWhenAvailable>
    <ExecutionTimeLimit>PT0S</ExecutionTimeLimit>
    <Priority>5</Priority>
  </Settings>
  <Actions Context="Author">
    <Exec>
      <Command>${xml(node)}</Command>
      <Arguments>${xml(words.map(windowsWord).join(' '))}</Arguments>
    </Exec>
  </Actions>
</Task>
`;
}
