import { resolve } from 'node:path';
import type { Trouble } from '../glove/view.js';
import type { Registration } from '../install/openxr-registration.js';
import type { Caution } from '../resistance/cautions.js';
import type { UnusedLine } from '../resistance/unused-lines.js';
import type { InUse } from './status.js';

/**
 * The findings of `tautline doctor`: facts in, findings out. The system is queried elsewhere (facts.ts), so that
 * every finding can be tested on any system.
 */
export interface Facts {
  platform: NodeJS.Platform;
  nodeVersion: string;
  version: string;
  /** The profile that a service started now would use, and what is wrong with it. */
  profile: {
    path: string | undefined;
    problem?: string;
    /** What the running service was started with. */
    inUse?: InUse;
  };
  /** Figures that the profile permits but that its maker should know about. */
  cautions: readonly Caution[];
  /** Folder of the profiles that come with the program. */
  examples: string;
  ports: readonly {
    path: string;
    /** On USB, so it may be a glove; a port on the main board seldom is. */
    usb: boolean;
    /** Readable and writable for this user. */
    permitted: boolean;
    heldBy: readonly string[];
    /** Of the USB adapter, ms, where the driver reports it. */
    latencyTimerMs?: number;
    /** USB autosuspend may cut its power. */
    autosuspends?: boolean;
  }[];
  /** What the profile says of where its gloves are, and whether such a port is there. */
  gloveLinks: readonly { glove: string; wants: string; there: boolean }[];
  /** Linux: groups that own serial ports, and those the user is in. */
  portGroups: readonly string[];
  userGroups: readonly string[];
  service:
    | { state: 'running'; version: string; address: string; gloves: readonly GloveFacts[] }
    | { state: 'none' }
    | { state: 'refused'; status: number }
    | { state: 'foreign'; address: string };
  installed: { starter: string; exists: boolean; programExists: boolean };
  /** Linux: a user's services end at log-out unless lingering is enabled. */
  lingers?: boolean;
  folders: readonly { path: string; writable: boolean; freeBytes: number | undefined }[];
  bluetooth: { wanted: boolean; problem?: string };
  /** What the OpenXR loader knows of the layer. */
  openxr: Registration;
  /** If known: whether it runs on battery, and after how many minutes it goes to sleep by itself, 0 never. */
  power: { onBattery?: boolean; sleepsAfterMin?: number };
}

/** What the running service says of a glove. */
export interface GloveFacts {
  name: string;
  hand: string;
  troubles: readonly Trouble[];
  /** Servos that never hold their finger. */
  unused: readonly UnusedLine[];
}

export interface Finding {
  what: string;
  state: 'fine' | 'attention' | 'wrong';
  says: string;
  /** What to do about it. */
  remedy?: string;
}

const LEAST_NODE = 20;
const LEAST_FREE_BYTES = 500e6;

export function examine(facts: Facts): Finding[] {
  return [
    node(facts),
    profile(facts),
    ...cautions(facts),
    ...ports(facts),
    ...gloveLinks(facts),
    service(facts),
    ...gloves(facts),
    installation(facts),
    ...facts.folders.map(folder),
    ...bluetooth(facts),
    ...openxr(facts),
    ...power(facts),
  ];
}

const fine = (what: string, says: string): Finding => ({ what, state: 'fine', says });

function node({ nodeVersion }: Facts): Finding {
  const major = Number(nodeVersion.replace(/^v/, '').split('.')[0]);
  if (major >= LEAST_NODE) return fine('node', `Node ${nodeVersion}.`);
  return {
    what: 'node',
    state: 'wrong',
    says: `Node ${nodeVersion} is too old.`,
    remedy: `Install Node ${LEAST_NODE} or newer.`,
  };
}

function profile({ profile: { path, problem, inUse }, examples }: Facts): Finding {
  const what = 'profile';
  if (problem)
    return {
      what,
      state: 'wrong',
      says: problem,
      remedy: 'Correct it: a service started now would not run.',
    };
  const own = `Let \`tautline new\` write one, or copy the nearest one of ${examples}, and name it with --profile.`;
  switch (inUse?.kind) {
    case 'file':
      if (path !== undefined && resolve(path) !== inUse.file) {
        return {
          what,
          state: 'attention',
          says: `${path} is sound, but the running service uses ${inUse.file}.`,
          remedy: 'Start the service with the one that you mean.',
        };
      }
      if (!inUse.changed) return fine(what, `The running service uses ${inUse.file}, which is sound.`);
      return {
        what,
        state: 'attention',
        says: `The running service uses ${inUse.file}, which is sound, but was changed since it started.`,
        remedy: 'Restart the service, for the change to take effect.',
      };
    case 'simulated':
      if (path !== undefined) {
        return {
          what,
          state: 'attention',
          says: `${path} is sound, but the running service shows the simulated glove.`,
          remedy: `Start it with --profile ${path}.`,
        };
      }
      return {
        what,
        state: 'attention',
        says: 'The running service has no profile, and shows the simulated glove.',
        remedy: own,
      };
    case 'recording':
      return fine(what, 'The running service shows a recording, by the profile in it.');
    case 'unknown':
      if (path !== undefined) return fine(what, `${path} is sound.`);
      return fine(what, 'Only the user who runs the service is given the name of its profile.');
  }
  if (path) return fine(what, `${path} is sound.`);
  return {
    what,
    state: 'attention',
    says: 'You have no profile, so a service shows the simulated glove.',
    remedy: own,
  };
}

function cautions({ cautions: all }: Facts): Finding[] {
  return all.map(({ glove, says, remedy }) => ({
    what: 'forces',
    state: 'attention',
    says: `${glove}: ${says}`,
    remedy,
  }));
}

function ports({ platform, ports: all, portGroups, userGroups }: Facts): Finding[] {
  if (all.length === 0) {
    return [
      {
        what: 'ports',
        state: 'attention',
        says: 'No serial port is there.',
        remedy: 'If the glove has a cable, plug it in. A charge-only cable does not work.',
      },
    ];
  }
  return all.flatMap((port): Finding[] => {
    const what = port.path;
    if (!port.permitted) {
      const group = portGroups.find((name) => !userGroups.includes(name));
      return [
        {
          what,
          state: port.usb ? 'wrong' : 'attention',
          says: port.usb
            ? 'You may not open it.'
            : 'You may not open it, which matters only if a glove is connected to it.',
          remedy:
            platform === 'linux'
              ? `Install the udev rule (docs/install.md)${group ? `, or: sudo usermod -aG ${group} "$USER", then log in again` : ''}.`
              : 'Check its permissions.',
        },
      ];
    }
    const found: Finding[] = [];
    if (port.heldBy.length > 0) {
      found.push({
        what,
        state: 'attention',
        says: `Held by ${port.heldBy.join(' and ')}.`,
        remedy: 'Only one program at a time can use it: end the other, unless it is the service itself.',
      });
    }
    if (port.latencyTimerMs !== undefined && port.latencyTimerMs > 2) {
      found.push({
        what,
        state: 'attention',
        says: `Its adapter collects bytes for ${port.latencyTimerMs} ms.`,
        remedy: 'The udev rule that comes with the program sets 1 ms.',
      });
    }
    if (port.autosuspends) {
      found.push({
        what,
        state: 'attention',
        says: 'The system may put it to sleep to save power.',
        remedy: "Write on into its device's power/control in /sys, or keep the glove streaming.",
      });
    }
    return found.length > 0 ? found : [fine(what, 'You may open it, and no program holds it.')];
  });
}

/** A port that is missing shows there in other ways when the service has the glove. */
function gloveLinks({ gloveLinks: all, ports: { length } }: Facts): Finding[] {
  return all
    .filter(({ there }) => !there)
    .map(({ glove, wants }) => ({
      what: glove,
      state: 'wrong',
      says: `Its port is not there: the profile names ${wants}.`,
      remedy:
        length > 0
          ? 'Plug the glove in, or name its port under `link`; `tautline ports` lists them.'
          : 'Plug the glove in. A charge-only cable does not work.',
    }));
}

function gloves({ service: found }: Facts): Finding[] {
  if (found.state !== 'running') return [];
  return found.gloves.flatMap(({ name, hand, troubles, unused }): Finding[] => {
    const about = (part: string) => `${hand} hand, ${name}${part === '' ? '' : `, ${part}`}`;
    const found: Finding[] = [
      ...troubles.map(
        ({ what, state, says, remedy }): Finding => ({
          what: about(what),
          state,
          says,
          ...(remedy === undefined ? {} : { remedy }),
        }),
      ),
      ...unused.map(({ says, remedy }): Finding => ({ what: about('forces'), state: 'wrong', says, remedy })),
    ];
    return found.length > 0 ? found : [fine(about(''), 'It sends, and nothing is wrong with its sensors.')];
  });
}

function service({ service: found, version }: Facts): Finding {
  switch (found.state) {
    case 'none':
      return {
        what: 'service',
        state: 'attention',
        says: 'No service is running.',
        remedy: 'Start it with `tautline run`, or permanently with `tautline install`.',
      };
    case 'refused':
      return {
        what: 'service',
        state: 'attention',
        says: `A service is running, but refuses to answer (${found.status}).`,
        remedy: 'Give its token: --token, or TAUTLINE_TOKEN.',
      };
    case 'foreign':
      return {
        what: 'service',
        state: 'wrong',
        says: `Another program answers at ${found.address}.`,
        remedy: 'End it, or give the service another address with stream.port in the profile.',
      };
    case 'running':
      if (found.version !== version) {
        return {
          what: 'service',
          state: 'attention',
          says: `The service is version ${found.version}, this command ${version}.`,
          remedy: 'Restart the service: `tautline install` does that for an installed one.',
        };
      }
      return fine(
        'service',
        `Running at ${found.address}, with ${found.gloves.length} ${found.gloves.length === 1 ? 'glove' : 'gloves'}.`,
      );
  }
}

function installation({ installed, lingers }: Facts): Finding {
  const what = 'installation';
  if (!installed.exists) return fine(what, 'Not installed to start at log-in; `tautline install` does that.');
  if (!installed.programExists) {
    return {
      what,
      state: 'wrong',
      says: `${installed.starter} starts a program that no longer exists.`,
      remedy: 'Run `tautline install` again.',
    };
  }
  const ends =
    lingers === false ? ' It ends when you log out; `loginctl enable-linger` keeps it running.' : '';
  return fine(what, `Starts at log-in: ${installed.starter}.${ends}`);
}

function folder({ path, writable, freeBytes }: Facts['folders'][number]): Finding {
  if (!writable) {
    return { what: path, state: 'wrong', says: 'It cannot be written.', remedy: 'Check who owns it.' };
  }
  if (freeBytes !== undefined && freeBytes < LEAST_FREE_BYTES) {
    return {
      what: path,
      state: 'attention',
      says: `Only ${Math.round(freeBytes / 1e6)} MB are free.`,
      remedy: 'A recording takes some 90 MB an hour: make room.',
    };
  }
  return fine(
    path,
    freeBytes === undefined ? 'Writable.' : `Writable, ${(freeBytes / 1e9).toFixed(1)} GB free.`,
  );
}

function power({ power: { onBattery, sleepsAfterMin } }: Facts): Finding[] {
  const what = 'power';
  if (sleepsAfterMin !== undefined && sleepsAfterMin > 0) {
    return [
      {
        what,
        state: 'attention',
        says: `The computer goes to sleep after ${sleepsAfterMin} minutes without a key; fingers are free then.`,
        remedy: 'Set a longer time while you wear the glove. After waking, gloves come back by themselves.',
      },
    ];
  }
  if (onBattery) {
    return [
      {
        what,
        state: 'attention',
        says: 'The computer runs on its battery, may slow down, and may go to sleep.',
        remedy: 'Plug it in while you wear the glove.',
      },
    ];
  }
  if (onBattery === undefined && sleepsAfterMin === undefined) return [];
  return [fine(what, 'Nothing is known that would put the computer to sleep.')];
}

function openxr({ openxr: { supported, entries, loads, problems } }: Facts): Finding[] {
  const what = 'openxr';
  // A machine without applications of that kind, or without a layer, lacks nothing.
  if (!supported) return [];
  if (entries.length === 0) {
    return [fine(what, 'The layer is not registered; `tautline openxr on` does it.')];
  }
  if (problems.length === 0) return [fine(what, `Applications get the layer by ${entries[0].manifest}.`)];
  return problems.map((problem): Finding => {
    const { says, remedy } = cut(problem);
    return { what, state: loads ? 'attention' : 'wrong', says, ...(remedy === undefined ? {} : { remedy }) };
  });
}

/** A line that says what, and then what to do. */
function cut(line: string): { says: string; remedy?: string } {
  const at = line.indexOf('. ') + 1;
  return at > 0 ? { says: line.slice(0, at), remedy: line.slice(at + 1) } : { says: line };
}

function bluetooth({ bluetooth: { wanted, problem } }: Facts): Finding[] {
  if (!wanted) return [];
  if (!problem) return [fine('bluetooth', 'Its library is installed.')];
  return [
    {
      what: 'bluetooth',
      state: 'wrong',
      says: problem,
      remedy: 'npm install webbluetooth; on Debian also: sudo apt-get install libdbus-1-3 bluez.',
    },
  ];
}
