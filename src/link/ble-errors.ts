import type { Trouble } from './ble-messages.js';

/** What to do when the Bluetooth library could not be loaded, from its own message. */
export function explainLoadFailure(words: string, platform: NodeJS.Platform): Trouble {
  const code = 'bluetoothUnavailable';
  const library = /(lib[\w.-]+\.so[.\d]*): cannot open shared object/.exec(words)?.[1];
  if (library) {
    return {
      code,
      message: `Bluetooth needs ${library}, which is not installed.`,
      remedy: library.startsWith('libdbus')
        ? 'Install it (Debian, Ubuntu: sudo apt install libdbus-1-3; Fedora: sudo dnf install dbus-libs).'
        : "Install it with your system's package manager.",
    };
  }
  if (/cannot find (module|package)/i.test(words) && /webbluetooth/.test(words)) {
    return {
      code,
      message: 'Bluetooth needs the npm package webbluetooth, which is not installed.',
      remedy: 'It is optional: install Tautline again without --omit=optional, or connect the glove by USB.',
    };
  }
  if (/no native build|prebuild|\.node'?$|invalid ELF|wrong architecture/im.test(words)) {
    return {
      code,
      message: `Bluetooth is not available for this system (${platform}, ${process.arch}).`,
      remedy: 'Connect the glove by USB and use `kind: serial`.',
    };
  }
  return { code, message: `Bluetooth cannot be used: ${firstLine(words)}` };
}

/** The library was loaded, but found no radio. */
export function explainNoRadio(adapters: number, platform: NodeJS.Platform): Trouble {
  const code = 'bluetoothUnavailable';
  if (adapters > 0) {
    return {
      code,
      message: 'Bluetooth is switched off.',
      remedy: pick(platform, {
        linux: 'Switch it on: bluetoothctl power on (and, if that fails, rfkill unblock bluetooth).',
        darwin: 'Switch it on in the Control Centre.',
        other: 'Switch it on in the settings.',
      }),
    };
  }
  return {
    code,
    message: 'No Bluetooth adapter can be used.',
    remedy: pick(platform, {
      linux:
        'Plug one in, and check that the Bluetooth service runs: sudo systemctl start bluetooth (package bluez; most containers have none).',
      darwin: 'Allow this terminal to use Bluetooth: System Settings, Privacy & Security, Bluetooth.',
      other: 'Plug in one that supports Bluetooth LE, and check that its driver is installed.',
    }),
  };
}

export const notFound = (glove: string): Trouble => ({
  code: 'portMissing',
  message: `${glove} was not found by Bluetooth.`,
  remedy:
    'Switch it on, bring it nearer, and check that nothing else (a phone, a second service) is connected to it.',
});

/** What to do when a step of connecting failed; the library does not say why. */
export function explainStep(step: 'scan' | 'connect' | 'discover', glove: string): Trouble {
  switch (step) {
    case 'scan':
      return {
        code: 'bluetoothUnavailable',
        message: 'The system does not let Tautline look for Bluetooth devices.',
        remedy: 'On Linux, run it as a user who is logged in at the desk, or join the group bluetooth.',
      };
    case 'connect':
      return {
        code: 'portFailed',
        message: `${glove} is in range, but the Bluetooth connection failed.`,
        remedy: 'Bring it nearer; if that does not help, switch the glove off and on.',
      };
    case 'discover':
      return {
        code: 'portFailed',
        message: `${glove} is connected, but has no Tautline service.`,
        remedy:
          'Load the Tautline firmware, with BLE chosen in pins.h; if you just did, have the system forget the device.',
      };
  }
}

export const goneTrouble = (glove: string): Trouble => ({
  code: 'portFailed',
  message: `${glove} is gone: out of range, switched off, or out of battery.`,
  remedy: 'Bring it back: the service keeps looking for it.',
});

const firstLine = (words: string): string => `${words.split('\n')[0]!.replace(/^Error:\s*|[.\s]*$/g, '')}.`;

function pick(platform: NodeJS.Platform, texts: { linux: string; darwin: string; other: string }): string {
  return platform === 'linux' || platform === 'darwin' ? texts[platform] : texts.other;
}
