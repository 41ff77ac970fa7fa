/**
 * What a system starts the service by at log-in: the text of a systemd user unit, a launchd agent or a Windows
 * task. Pure: plain data in, text out.
 */
export interface Starter {
  /** Absolute path of the node program. */
  node: string;
  /** Absolute path of this program's main.js. */
  main: string;
  /** Absolute path; none: `tautline run` finds the profile of the configuration folder, or takes the simulated one. */
  profile?: string;
  /** Where the service logs to; none: the system keeps what it says on stderr. */
  log?: string;
}

/** The watchdog of systemd restarts a service that has said nothing for so long. */
export const WATCHDOG_S = 20;

export const runArguments = ({ main, profile, log }: Starter): string[] => [
  main,
  'run',
  ...(profile === undefined ? [] : ['--profile', profile]),
  '--log-level',
  'info',
  ...(log === undefined ? [] : ['--log-file', log]),
];

/** systemd.service(5), "Command lines": quoted, with `%` and `$` doubled. */
const systemdWord = (word: string): string =>
  `"${word.replaceAll('\\', '\\\\').replaceAll('"', '\\"').replaceAll('%', '%%').replaceAll('$', '$$$$')}"`;

/** No sandbox of file systems: user units cannot always have one, and serial ports and the bus must stay in reach. */
export function systemdUnit(starter: Starter): string {
  // The first word may hold no quotes or blanks (systemd.service(5)): where it would, env is it.
  const plain = /^[\w/.+:@-]+$/.test(starter.node);
  const words = [...(plain ? [] : ['/usr/bin/env', starter.node]), ...runArguments(starter)].map(systemdWord);
  const command = plain ? [starter.node, ...words].join(' ') : words.join(' ').replace(/^"(.*?)"/, '$1');
  return `# Written by \`tautline install\`; \`tautline uninstall\` removes it.
[Unit]
Description=Tautline, from force-feedback gloves to hands
StartLimitIntervalSec=120
StartLimitBurst=5

[Service]
# Ready when the stream listens. A process beside the service passes on what it says.
Type=notify
NotifyAccess=all
ExecStart=${command}
# Whatever ends it, the glove has freed every finger by itself long before it is back.
Restart=on-failure
RestartSec=2
# Command line, profile and address do not mend themselves.
RestartPreventExitStatus=2 3 5
WatchdogSec=${WATCHDOG_S}
TimeoutStopSec=5
NoNewPrivileges=yes
UMask=0077

[Install]
WantedBy=default.target
`;
}

const xml = (text: string): string =>
  text.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;').replaceAll('"', '&quot;');

/** launchd.plist(5). */
export function launchAgent(starter: Starter): string {
  const words = [starter.node, ...runArguments(starter)].map((word) => `    <string>${xml(word)}</string>`);
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
</dict>
</plist>
`;
}

/** A word of a Windows command line, as CommandLineToArgvW takes it apart. */
const windowsWord = (word: string): string =>
  /[\s"]/.test(word) || word === ''
    ? `"${word.replace(/(\\*)"/g, '$1$1\\"').replace(/(\\+)$/, '$1$1')}"`
    : word;

/** Task Scheduler schema 1.2; elements in the order that it wants. */
export function scheduledTask(starter: Starter): string {
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
    <MultipleInstancesPolicy>IgnoreNew</MultipleInstancesPolicy>
    <DisallowStartIfOnBatteries>false</DisallowStartIfOnBatteries>
    <StopIfGoingOnBatteries>false</StopIfGoingOnBatteries>
    <ExecutionTimeLimit>PT0S</ExecutionTimeLimit>
    <RestartOnFailure>
      <Interval>PT1M</Interval>
      <Count>99</Count>
    </RestartOnFailure>
  </Settings>
  <Actions Context="Author">
    <Exec>
      <Command>${xml(starter.node)}</Command>
      <Arguments>${xml(runArguments(starter).map(windowsWord).join(' '))}</Arguments>
    </Exec>
  </Actions>
</Task>
`;
}
