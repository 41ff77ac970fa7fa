import {
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { manifest as makeManifest } from '../../scripts/openxr-layer.js';
import { builtFor } from '../../src/install/openxr-library.js';
import {
  LAYER_NAME,
  MANIFEST,
  type OpenxrSystem,
  openxrSystem,
  readRegistration,
} from '../../src/install/openxr-registration.js';
import { parseValues, type RunProgram } from '../../src/install/openxr-registry.js';
import { emptyKeySteps, registerSteps, unregisterSteps } from '../../src/install/openxr-steps.js';
import type { Step } from '../../src/install/plan.js';
import { runStep } from '../../src/install/run-step.js';

/** The first bytes of a library: ELF or PE, 64 bits. */
function libraryHead(platform: string, machine: number): Buffer {
  const head = Buffer.alloc(512);
  if (platform === 'linux') {
    head.write('\x7fELF\x02\x01\x01', 'latin1');
    head.writeUInt16LE(machine, 18);
  } else {
    head.write('MZ', 'latin1');
    head.writeUInt32LE(0x80, 0x3c);
    head.write('PE\0\0', 0x80, 'latin1');
    head.writeUInt16LE(machine, 0x84);
  }
  return head;
}

let home: string;
beforeEach(() => {
  home = mkdtempSync(join(tmpdir(), 'tautline o’home '));
});
afterEach(() => rmSync(home, { recursive: true, force: true }));

function layerFolder(name: string, platform: 'linux' | 'win32', machine: number): string {
  const folder = join(home, name, 'dist', 'openxr', `${platform}-x64`);
  mkdirSync(folder, { recursive: true });
  const library =
    platform === 'linux' ? `lib${MANIFEST.replace('.json', '.so')}` : MANIFEST.replace('.json', '.dll');
  writeFileSync(join(folder, library), libraryHead(platform, machine));
  writeFileSync(join(folder, MANIFEST), JSON.stringify(makeManifest(library, '0.1.0')));
  return folder;
}

describe('a library', () => {
  it('says what it is built for (System V ABI, generic; PE/COFF specification)', () => {
    expect(builtFor(libraryHead('linux', 62))).toBe('linux-x64');
    expect(builtFor(libraryHead('linux', 183))).toBe('linux-arm64');
    expect(builtFor(libraryHead('win32', 0x8664))).toBe('win32-x64');
    expect(builtFor(libraryHead('win32', 0x14c))).toBe('win32-ia32');
    expect(builtFor(Buffer.from('text'))).toBe('unknown');
    expect(builtFor(Buffer.alloc(0))).toBe('unknown');
    expect(builtFor(readFileSync(process.execPath).subarray(0, 4096))).toBe(
      `${process.platform}-${process.arch}`,
    );
  });
});

describe('on Linux', () => {
  const system = (change: Partial<OpenxrSystem> = {}): OpenxrSystem =>
    openxrSystem({
      platform: 'linux',
      arch: 'x64',
      home,
      env: { XDG_CONFIG_DIRS: join(home, 'etc'), XDG_DATA_DIRS: join(home, 'usr') },
      layerFolder: join(home, 'program', 'dist', 'openxr', 'linux-x64'),
      ...change,
    });
  const file = () => join(home, '.local/share/openxr/1/api_layers/implicit.d', MANIFEST);
  const on = async (at = system()) => {
    for (const step of await registerSteps(at, await readRegistration(at))) runStep(step);
  };
  const off = async (at = system()) => {
    for (const step of unregisterSteps(at, await readRegistration(at))) runStep(step);
  };
  beforeEach(() => {
    layerFolder('program', 'linux', 62);
  });

  it('a file in the user’s folder registers the library, and off leaves nothing', async () => {
    expect(await readRegistration(system())).toMatchObject({ loads: false, entries: [], problems: [] });
    await on();
    const written = readFileSync(file(), 'utf8');
    const { api_layer: layer } = JSON.parse(written);
    expect(layer).toMatchObject({ name: LAYER_NAME, disable_environment: 'TAUTLINE_OPENXR_OFF_0_1' });
    expect(layer.library_path).toBe(join(system().layerFolder, `lib${MANIFEST.replace('.json', '.so')}`));
    const now = await readRegistration(system());
    expect(now).toMatchObject({ loads: true, problems: [] });
    expect(now.entries).toEqual([
      { manifest: file(), ours: true, current: true, library: layer.library_path },
    ]);
    await on();
    expect(readFileSync(file(), 'utf8')).toBe(written);
    expect(readdirSync(dirname(file()))).toEqual([MANIFEST]);
    await off();
    expect(readdirSync(join(home, '.local', 'share'))).toEqual([]);
    await off();
  });

  it('what others have beside it stays', async () => {
    mkdirSync(dirname(file()), { recursive: true });
    const other = join(dirname(file()), 'other.json');
    writeFileSync(
      other,
      JSON.stringify({ api_layer: { name: 'XR_APILAYER_other', library_path: './x.so' } }),
    );
    await on();
    expect(await readRegistration(system())).toMatchObject({ loads: true, problems: [] });
    await off();
    expect(readdirSync(dirname(file()))).toEqual(['other.json']);
  });

  it('a link to a manifest is replaced, and what it led to stays as it was', async () => {
    mkdirSync(dirname(file()), { recursive: true });
    const source = join(system().layerFolder, MANIFEST);
    symlinkSync(source, file());
    const before = readFileSync(source, 'utf8');
    await on();
    expect(readFileSync(source, 'utf8')).toBe(before);
    expect(await readRegistration(system())).toMatchObject({ loads: true, problems: [] });
    rmSync(file());
    symlinkSync('/nowhere', file());
    expect((await readRegistration(system())).problems).toEqual([
      `${file()} is not there. \`tautline openxr on\` writes it again.`,
    ]);
    await off();
    expect(readdirSync(join(home, '.local', 'share'))).toEqual([]);
  });

  const trouble: [string, () => void | Promise<void>, RegExp, Partial<OpenxrSystem>?][] = [
    ['a library that is gone', () => rmSync(join(home, 'program'), { recursive: true }), /not there/],
    [
      'a library for another machine',
      () => void layerFolder('program', 'linux', 183),
      /built for linux-arm64, this machine is linux-x64\. /,
    ],
    [
      'the variable that turns it off',
      () => {},
      /^TAUTLINE_OPENXR_OFF_0_1 is set here.*Unset it/,
      { env: { TAUTLINE_OPENXR_OFF_0_1: '0' } },
    ],
    ['a file that is not JSON', () => writeFileSync(file(), '{'), /is not JSON\. /],
    ['a file that names nothing', () => writeFileSync(file(), '{"api_layer":{}}'), /names no library\. /],
    [
      'another installation that is found before',
      () => {
        const folder = join(home, 'usr/openxr/1/api_layers/implicit.d');
        mkdirSync(folder, { recursive: true });
        const library = join(layerFolder('older', 'linux', 62), `lib${MANIFEST.replace('.json', '.so')}`);
        const text = JSON.stringify({ api_layer: { name: LAYER_NAME, library_path: library } });
        writeFileSync(join(folder, 'a.json'), text);
      },
      /usr\/openxr.*a\.json comes first, with the layer of another installation/,
    ],
    [
      'one in the user’s own folder under another name',
      () => {
        const text = readFileSync(file(), 'utf8');
        writeFileSync(join(dirname(file()), 'aaa.json'), text);
      },
      /registers the same layer once more/,
    ],
  ];
  it.each(trouble)('%s is said in a line', async (_what, make, says, change = {}) => {
    await on();
    await make();
    const { XDG_CONFIG_DIRS, XDG_DATA_DIRS } = system().env;
    const env = { XDG_CONFIG_DIRS, XDG_DATA_DIRS, ...change.env };
    const { problems } = await readRegistration(system({ ...change, env }));
    expect(
      problems.some((line) => says.test(line)),
      problems.join('\n'),
    ).toBe(true);
    for (const line of problems) expect(line).not.toContain('\n');
  });

  it('on mends what it can: an older place, a doubled file', async () => {
    await on(system({ layerFolder: layerFolder('older', 'linux', 62) }));
    expect((await readRegistration(system())).problems[0]).toMatch(/another installation.*names this one/);
    writeFileSync(join(dirname(file()), 'aaa.json'), readFileSync(file(), 'utf8'));
    await on();
    expect(await readRegistration(system())).toMatchObject({ loads: true, problems: [] });
    expect(readdirSync(dirname(file()))).toEqual([MANIFEST]);
  });

  it('without a library there is nothing to register', async () => {
    rmSync(join(home, 'program'), { recursive: true });
    await expect(on()).rejects.toMatchObject({
      code: 'fileNotFound',
      line: expect.stringMatching(/build:openxr/),
    });
    await expect(on(system({ arch: 'arm64' }))).rejects.toMatchObject({ code: 'notSupported' });
    expect(
      unregisterSteps(system({ arch: 'arm64' }), await readRegistration(system({ arch: 'arm64' }))),
    ).toEqual([]);
  });
});

/** A registry that answers as reg.exe does. tests/openxr/windows.ts asks a real one, Wine's. */
function fakeRegistry() {
  const values = new Map<string, Map<string, number>>();
  const long = (key: string) =>
    key.replace(/^HKCU/, 'HKEY_CURRENT_USER').replace(/^HKLM/, 'HKEY_LOCAL_MACHINE');
  const below = (key: string) => [...values.keys()].filter((each) => each.startsWith(`${key}\\`));
  const run: RunProgram = (command, [verb, key, ...rest]) => {
    expect(command).toBe('reg');
    expect(rest).toContain('/reg:64');
    const name = rest.includes('/v') ? rest[rest.indexOf('/v') + 1] : undefined;
    const here = values.get(key);
    const well = (stdout = '') => ({ status: 0, stdout });
    const unknown = { status: 1, stdout: '' };
    if (verb === 'add') {
      expect(rest.join(' ')).toContain('/t REG_DWORD /d 0 /f');
      for (let at = key; at.includes('\\'); at = at.slice(0, at.lastIndexOf('\\'))) {
        if (!values.has(at)) values.set(at, new Map());
      }
      values.get(key)!.set(name!, 0);
      return well();
    }
    if (!here) return unknown;
    if (verb === 'delete' && name === undefined) {
      for (const each of [key, ...below(key)]) values.delete(each);
      return well();
    }
    if (verb === 'delete') return here.delete(name!) ? well() : unknown;
    const listed = [...here].filter(([each]) => name === undefined || each === name);
    if (name !== undefined && listed.length === 0) return unknown;
    const lines = listed.map(([each, data]) => `    ${each}    REG_DWORD    0x${data.toString(16)}`);
    const keys = below(key)
      .filter((each) => !each.slice(key.length + 1).includes('\\'))
      .map(long);
    return well(`\r\n${long(key)}\r\n${lines.join('\r\n')}\r\n\r\n${keys.join('\r\n')}\r\n`);
  };
  return { run, values };
}

describe('on Windows', () => {
  const KEY = 'HKCU\\SOFTWARE\\Khronos\\OpenXR\\1\\ApiLayers\\Implicit';
  const MACHINE = KEY.replace('HKCU', 'HKLM');
  let registry: ReturnType<typeof fakeRegistry>;
  let system: OpenxrSystem;
  const carry = (steps: Step[]) => {
    for (const step of steps) {
      if (step.kind !== 'run') throw new Error('not of this system');
      expect(registry.run(step.command, step.args).status).toBe(0);
    }
  };
  const on = async () => carry(await registerSteps(system, await readRegistration(system)));
  const off = async () => {
    carry(unregisterSteps(system, await readRegistration(system)));
    carry(emptyKeySteps(system));
  };
  beforeEach(() => {
    registry = fakeRegistry();
    const layer = layerFolder('program', 'win32', 0x8664);
    system = openxrSystem({
      platform: 'win32',
      arch: 'x64',
      home,
      env: {},
      run: registry.run,
      layerFolder: layer,
    });
  });

  it('a value with the path of the manifest registers it, and off leaves no key', async () => {
    await on();
    await on();
    const path = join(system.layerFolder, MANIFEST);
    expect(registry.values.get(KEY)).toEqual(new Map([[path, 0]]));
    expect(await readRegistration(system)).toMatchObject({
      loads: true,
      problems: [],
      entries: [{ ours: true }],
    });
    await off();
    expect([...registry.values.keys()]).toEqual(['HKCU\\SOFTWARE']);
    await off();
  });

  it('keys that hold something else stay, and a value of an older place goes', async () => {
    await on();
    registry.values.get(KEY)!.set('C:\\other\\layer.json', 0);
    const old = join(layerFolder('older', 'win32', 0x8664), MANIFEST);
    registry.values.get(KEY)!.set(old, 0);
    expect((await readRegistration(system)).problems).toHaveLength(1);
    await on();
    expect(await readRegistration(system)).toMatchObject({ loads: true, problems: [] });
    await off();
    expect([...registry.values.get(KEY)!.keys()]).toEqual(['C:\\other\\layer.json']);
  });

  it('a value that turns it off, and the machine’s own key, are seen', async () => {
    await on();
    registry.values.get(KEY)!.set(join(system.layerFolder, MANIFEST), 1);
    expect((await readRegistration(system)).problems[0]).toMatch(/turns it off\. `tautline openxr on`/);
    await on();
    const old = join(layerFolder('older', 'win32', 0x8664), MANIFEST);
    registry.run('reg', ['add', MACHINE, '/v', old, '/t', 'REG_DWORD', '/d', '0', '/f', '/reg:64']);
    const { loads, problems } = await readRegistration(system);
    expect(loads).toBe(false);
    expect(problems[0]).toMatch(/comes first, with the layer of another installation/);
  });

  it('lines of reg are read as they are', () => {
    const text =
      '\r\nHKEY_CURRENT_USER\\SOFTWARE\\Khronos\\OpenXR\\1\\ApiLayers\\Implicit\r\n' +
      '    C:\\Program Files\\a  b\\x.json    REG_DWORD    0x0\r\n    D:\\y.json    REG_DWORD    0x1\r\n    z    REG_SZ    0x1\r\n\r\n';
    expect(parseValues(text)).toEqual([
      { name: 'C:\\Program Files\\a  b\\x.json', data: 0 },
      { name: 'D:\\y.json', data: 1 },
    ]);
  });
});
