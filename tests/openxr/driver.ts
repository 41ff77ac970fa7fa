import { type ChildProcess, spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { createInterface } from 'node:readline';
import { type Build, buildAll } from './build.js';

/** An answer of driver.cpp; `result` is an XrResult. */
export interface Answer {
  result: number;
  [field: string]: unknown;
}

/** Codes of XrResult, from the OpenXR registry. */
export const XR = {
  success: 0,
  notFocused: 8,
  validationFailure: -1,
  functionUnsupported: -7,
  featureUnsupported: -8,
  extensionNotPresent: -9,
  handleInvalid: -12,
  pathInvalid: -19,
  pathUnsupported: -22,
  actionTypeMismatch: -27,
  timeInvalid: -30,
  actionsetNotAttached: -46,
  actionsetsAlreadyAttached: -47,
} as const;

export interface DriverOptions {
  /** Folder with `tautline/stream.json`; none: no service is found there. */
  runtimeFolder?: string;
  /** What the test runtime offers: hands, range, source, interaction, time, handless, … */
  offers?: string;
  /** Without the layer, for comparison. */
  bare?: boolean;
  /** The validation layer of the loader's makers, nearer to the application than ours, or nearer to the runtime. */
  validated?: 'above' | 'below';
  build?: Build;
  env?: Record<string, string>;
}

/** A runtime folder where no service is. */
export const NO_SERVICE = '/nonexistent';

const VALIDATION = 'XR_APILAYER_LUNARG_core_validation';
const VALIDATION_LIBRARY = '/usr/lib/x86_64-linux-gnu/openxr/1/api_layers/libXrApiLayer_core_validation.so';

/**
 * What the environment of an application must hold for the loader to find the test runtime, and our layer.
 * @param folder for the manifests
 */
export function environmentOf(options: DriverOptions, build: Build, folder: string): Record<string, string> {
  const implicit = (name: string) => {
    const path = join(folder, name, 'openxr/1/api_layers/implicit.d');
    mkdirSync(path, { recursive: true });
    return path;
  };
  const runtime = join(folder, 'runtime.json');
  const manifest = { file_format_version: '1.0.0', runtime: { library_path: build.runtime } };
  writeFileSync(runtime, JSON.stringify(manifest));
  const above = implicit('above');
  const ours = implicit('ours');
  if (!options.bare) {
    const layer = JSON.parse(readFileSync(build.manifest, 'utf8'));
    layer.api_layer.library_path = build.layer;
    writeFileSync(join(ours, 'layer.json'), JSON.stringify(layer));
  }
  const env: Record<string, string> = {
    PATH: process.env.PATH ?? '',
    // Searched in this order; what is found first is nearest to the application.
    XDG_CONFIG_DIRS: join(folder, 'above'),
    XDG_DATA_DIRS: join(folder, 'none'),
    XDG_DATA_HOME: join(folder, 'ours'),
    HOME: folder,
    XR_RUNTIME_JSON: runtime,
    TAUTLINE_TEST_RUNTIME: options.offers ?? 'time',
    TAUTLINE_TEST_RUNTIME_LIBRARY: resolve(build.runtime),
    XDG_RUNTIME_DIR: options.runtimeFolder ?? join(folder, 'nothing'),
  };
  // Not the service that a developer has at the usual address.
  if (options.runtimeFolder === undefined || options.runtimeFolder === NO_SERVICE) {
    env.TAUTLINE_STREAM = 'ws://127.0.0.1:1/stream';
  }
  if (options.validated === 'above') {
    const layer = {
      file_format_version: '1.0.0',
      api_layer: {
        name: VALIDATION,
        library_path: VALIDATION_LIBRARY,
        api_version: '1.0',
        implementation_version: '1',
        description: 'validation',
        disable_environment: 'VALIDATION_OFF',
      },
    };
    writeFileSync(join(above, 'validation.json'), JSON.stringify(layer));
  }
  if (options.validated === 'below') {
    env.XR_API_LAYER_PATH = '/usr/share/openxr/1/api_layers/explicit.d';
    env.XR_ENABLE_API_LAYERS = VALIDATION;
  }
  if (options.validated) env.XR_CORE_VALIDATION_EXPORT_TYPE = 'text';
  return { ...env, ...options.env };
}

/** Any OpenXR application, through the real loader, over the strict test runtime; told what to do line by line. */
export class Driver {
  readonly #answers: ((line: string) => void)[] = [];
  readonly ended: Promise<{ code: number | null; signal: string | null }>;
  stderr = '';
  /** What the validation layer said; empty: nothing. */
  validation = '';

  private constructor(
    readonly child: ChildProcess,
    readonly folder: string,
  ) {
    this.ended = new Promise((done) => {
      child.on('close', (code, signal) => {
        for (const answer of this.#answers.splice(0)) answer(`{"ended":true,"code":${code}}`);
        rmSync(folder, { recursive: true, force: true });
        done({ code, signal });
      });
    });
    createInterface({ input: child.stdout! }).on('line', (line) => {
      if (line.startsWith('{')) this.#answers.shift()?.(line);
      else this.validation += `${line}\n`;
    });
    // An application that has crashed is told of by what it was asked last.
    child.stdin!.on('error', () => {});
    child.stderr!.setEncoding('utf8').on('data', (text) => {
      this.stderr += text;
    });
    running.add(this);
  }

  static start(options: DriverOptions = {}): Driver {
    const build = options.build ?? buildAll();
    const folder = mkdtempSync(join(tmpdir(), 'tautline-openxr-'));
    const child = spawn(build.driver, [], { env: environmentOf(options, build, folder), stdio: 'pipe' });
    return new Driver(child, folder);
  }

  /** Gives a command of driver.cpp. */
  async ask(command: string): Promise<Answer> {
    const line = await new Promise<string>((answer) => {
      this.#answers.push(answer);
      this.child.stdin!.write(`${command}\n`);
    });
    const parsed = JSON.parse(line) as Answer;
    if (parsed.ended || parsed.unknown) throw new Error(`${command}: ${line} ${this.stderr}`);
    return parsed;
  }

  /** Gives commands of which each must succeed. */
  async do(...commands: string[]): Promise<Answer> {
    let last: Answer = { result: 0 };
    for (const command of commands) {
      last = await this.ask(command);
      if (last.result !== 0) throw new Error(`${command}: XrResult ${last.result}`);
    }
    return last;
  }

  /** Tells the test runtime how the world is. */
  async world(...lines: string[]): Promise<string> {
    let says = '';
    for (const line of lines) says = String((await this.do(`runtime ${line}`)).says);
    return says;
  }

  /** What the runtime found wrong with the calls that reached it. */
  complaints = () => this.world('complaints');

  /** Up to a session that has the focus. */
  async open(...extensions: string[]): Promise<void> {
    await this.do(`create ${extensions.join(' ')}`, 'system', 'session', 'begin', 'poll');
    await this.do('reference local local', 'reference view view');
  }

  /** Repeats a command until its answer fits. */
  async until(command: string, fits: (answer: Answer) => boolean, withinMs = 5000): Promise<Answer> {
    const end = performance.now() + withinMs;
    for (;;) {
      const answer = await this.ask(command);
      if (fits(answer)) return answer;
      if (performance.now() > end) throw new Error(`${command} stays ${JSON.stringify(answer)}`);
      await new Promise((done) => setTimeout(done, 5));
    }
  }

  /** Ends it as an application that destroys its instance; then as one that returns from main. */
  async quit(): Promise<{ code: number | null; signal: string | null }> {
    running.delete(this);
    this.child.stdin!.end('quit\n');
    return this.ended;
  }
}

const running = new Set<Driver>();

/** Ends whatever a failed test left running. */
export async function stopAllDrivers(): Promise<void> {
  for (const driver of [...running]) {
    running.delete(driver);
    driver.child.kill('SIGKILL');
    await driver.ended;
  }
}
