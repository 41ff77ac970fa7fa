import { homedir } from 'node:os';
import { posix, win32 } from 'node:path';

/** Every path that this program uses outside its own folder, by each system's convention. */
export interface UserPaths {
  /** Profile and fits. */
  config: string;
  /** The profile that `tautline run` uses when it is given none, if it is there. */
  profile: string;
  sessions: string;
  /** Browser extensions that the wearer has paired. */
  pairings: string;
  /** Files that exist while a service runs, for this user alone: the first folder that is writable. */
  runtime: readonly string[];
  /** The log of an installed service, where the system keeps none. */
  log: string;
  /** What may be deleted at any time: compiled code. */
  cache: string;
  /** The file by which the system starts the service: a unit, an agent, a task. */
  starter: string;
}

export interface PathsOptions {
  platform?: NodeJS.Platform;
  env?: NodeJS.ProcessEnv;
  home?: string;
  /** Of the user, where the system has one. */
  uid?: number;
}

/**
 * Linux and others: XDG Base Directory Specification. macOS: ~/Library. Windows: %APPDATA% for what a person writes,
 * %LOCALAPPDATA% for what grows.
 */
export function userPaths(options: PathsOptions = {}): UserPaths {
  const {
    platform = process.platform,
    env = process.env,
    home = homedir(),
    uid = process.getuid?.(),
  } = options;
  if (platform === 'win32') {
    const { join } = win32;
    const config = join(env.APPDATA ?? join(home, 'AppData', 'Roaming'), 'Tautline');
    const local = join(env.LOCALAPPDATA ?? join(home, 'AppData', 'Local'), 'Tautline');
    return {
      config,
      profile: join(config, 'glove.yaml'),
      sessions: join(local, 'sessions'),
      pairings: join(config, 'paired-extensions.json'),
      runtime: [local],
      log: join(local, 'tautline.log'),
      cache: join(local, 'cache'),
      starter: join(config, 'tautline-task.xml'),
    };
  }
  const { join, isAbsolute } = posix;
  if (platform === 'darwin') {
    const library = join(home, 'Library');
    const config = join(library, 'Application Support', 'Tautline');
    return {
      config,
      profile: join(config, 'glove.yaml'),
      sessions: join(config, 'sessions'),
      pairings: join(config, 'paired-extensions.json'),
      runtime: [config],
      log: join(library, 'Logs', 'tautline.log'),
      cache: join(library, 'Caches', 'Tautline'),
      starter: join(library, 'LaunchAgents', 'tautline.plist'),
    };
  }
  // By the specification, a path that is not absolute must be ignored.
  const base = (value: string | undefined, ...fallback: string[]): string =>
    value && isAbsolute(value) ? value : join(home, ...fallback);
  const configHome = base(env.XDG_CONFIG_HOME, '.config');
  const config = join(configHome, 'tautline');
  const state = join(base(env.XDG_STATE_HOME, '.local', 'state'), 'tautline');
  const runtime = [env.XDG_RUNTIME_DIR, uid === undefined ? undefined : `/run/user/${uid}`].filter(
    (folder): folder is string => folder !== undefined && isAbsolute(folder),
  );
  return {
    config,
    profile: join(config, 'glove.yaml'),
    // The last one for a shell without a login session, which has no folder under /run.
    runtime: [...new Set(runtime.map((folder) => join(folder, 'tautline'))), state],
    pairings: join(config, 'paired-extensions.json'),
    sessions: join(base(env.XDG_DATA_HOME, '.local', 'share'), 'tautline', 'sessions'),
    log: join(state, 'tautline.log'),
    cache: join(base(env.XDG_CACHE_HOME, '.cache'), 'tautline'),
    starter: join(configHome, 'systemd', 'user', 'tautline.service'),
  };
}
