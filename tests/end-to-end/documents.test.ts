import { spawn } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { build } from 'esbuild';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { App } from '../stream/app.js';
import { openBrowser } from './browser.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/**
 * Every example in the documents for app developers is run as it stands, but for the port; the guides to other languages
 * are followed by guides.test.ts.
 */
interface Block {
  language: string;
  line: number;
  text: string;
}
function blocksOf(path: string): Block[] {
  const text = readFileSync(path, 'utf8');
  return [...text.matchAll(/^```(.+)\n([\s\S]*?)^```$/gm)].map((match) => ({
    language: match[1],
    line: text.slice(0, match.index).split('\n').length,
    text: match[2],
  }));
}

let service: ServiceProcess;
let browser: Browser;
beforeAll(async () => {
  [service, browser] = await Promise.all([startServiceProcess(), openBrowser()]);
}, 120_000);
afterAll(async () => {
  await browser?.close();
  await stopAllServices();
});

const here = (text: string) => text.replaceAll('7117', String(service.port));

function run(program: string, args: string[], input = ''): Promise<string> {
  const child = spawn(program, args, {
    stdio: ['pipe', 'pipe', 'pipe'],
  });
  let out = '';
  let err = '';
  child.stdout.setEncoding('utf8').on('data', (text) => {
    out += text;
  });
  child.stderr.setEncoding('utf8').on('data', (text) => {
    err += text;
  });
  child.stdin.end(input);
  return new Promise((resolve, reject) =>
    child.on('close', (code) =>
      code === 0 && err === '' ? resolve(out) : reject(new Error(`${program} ended with ${code}: ${err}`)),
    ),
  );
}

const armed = async () => (await service.arm()).status;

/** The library finds the service at its usual address; here it has a port of its own. */
const atPort = (text: string) =>
  here(text)
    .replace('connect()', `connect({ url: '127.0.0.1:${service.port}' })`)
    .replace('connect({ app', `connect({ url: '127.0.0.1:${service.port}', app`);

const RUN: Record<string, (block: Block) => Promise<void>> = {
  async js({ text }) {
    const running = run(process.execPath, ['--input-type=module', '--eval', atPort(text)]);
    // Where the example waits for the wearer, here is one.
    if (text.includes('whenArmed')) await expect.poll(armed, { timeout: 20_000 }).toBe(200);
    expect((await running).trim()).not.toBe('');
  },
  async sh({ text }) {
    const out = await run('bash', ['-e'], here(text));
    expect(out).toContain('"armed"');
  },
  async html({ text }) {
    const page = await browser.newPage();
    const url = `http://127.0.0.1:${service.port}/guide.html`;
    await page.route(url, (route) => route.fulfill({ contentType: 'text/html', body: atPort(text) }));
    const troubles: string[] = [];
    page.on('pageerror', (error) => troubles.push(String(error)));
    await page.goto(url);
    await page.waitForFunction(() => document.querySelector('#out')!.textContent!.split(' ').length === 3);
    expect(troubles).toEqual([]);
    await page.close();
  },
  async 'js three'({ text }) {
    await checkThreeLines(atPort(text));
  },
  async json({ text }) {
    const message = JSON.parse(text);
    const app: App = await service.connect();
    // A glove that was disarmed a moment ago refuses to be armed again at once.
    if (message.type !== 'disarm') await expect.poll(armed, { timeout: 20_000 }).toBe(200);
    app.send(message);
    const answer = await app.until((m) => (m.type === 'ack' || m.type === 'error') && m.id === message.id);
    // The simulated glove has strings only, so it cannot vibrate.
    if (message.type === 'pulse' && answer.type === 'error') expect(answer.code).toBe('notSupported');
    else if (message.type === 'arm') expect(answer).toMatchObject({ type: 'error', code: 'notPermitted' });
    else expect(answer).toMatchObject({ type: 'ack', for: message.type });
    app.ws.close();
  },
};

describe.each(['docs/write-an-app.md', 'docs/protocol.md'])('%s', (path) => {
  const blocks = blocksOf(path);
  it('has examples', () => expect(blocks.length).toBeGreaterThan(7));
  it.each(blocks)('line $line: the example in $language works', async (block) => {
    expect(Object.keys(RUN)).toContain(block.language);
    await RUN[block.language](block);
  });
});

/** A plain three.js WebXR hand page, as its own example has it; the three lines are put where the mark is. */
const PAGE = `
import * as THREE from 'three';
import { XRHandModelFactory } from 'three/examples/jsm/webxr/XRHandModelFactory.js';

const scene = new THREE.Scene();
scene.background = new THREE.Color(0x203040);
const camera = new THREE.PerspectiveCamera(40, 4 / 3, 0.01, 10);
camera.position.set(0, 0.35, 0.1);
camera.lookAt(0, 0, -0.1);
scene.add(new THREE.HemisphereLight(0xffffff, 0x445566, 3));
const renderer = new THREE.WebGLRenderer({ preserveDrawingBuffer: true });
renderer.setSize(400, 300);
renderer.xr.enabled = true;
document.body.append(renderer.domElement);
const hand = renderer.xr.getHand(0);
hand.add(new XRHandModelFactory().createHandModel(hand));
scene.add(hand);
renderer.setAnimationLoop(() => renderer.render(scene, camera));
Object.assign(globalThis, { hand });
`;

async function checkThreeLines(threeLines: string): Promise<void> {
  expect(threeLines.trim().split('\n')).toHaveLength(3);
  const handOf = async (source: string) => {
    const bundled = await build({
      stdin: { contents: source, resolveDir: process.cwd(), loader: 'js' },
      alias: { 'tautline/client': './dist/client/index.js' },
      bundle: true,
      write: false,
      format: 'esm',
    });
    const page = await browser.newPage();
    const url = `http://127.0.0.1:${service.port}/three.html`;
    const body = `<!doctype html><body><script type="module">${bundled.outputFiles[0].text.replaceAll('</script', '<\\/script')}</script>`;
    await page.route(url, (route) => route.fulfill({ contentType: 'text/html; charset=utf-8', body }));
    await page.goto(url);
    return page;
  };
  type Hand = {
    visible: boolean;
    children: { children: { count: number; instanceMatrix: { array: Float32Array } }[] }[];
  };
  const meshes = () => {
    const { hand } = globalThis as unknown as { hand: Hand };
    const mesh = hand.children.flatMap(({ children }) => children).find((child) => child.instanceMatrix);
    return {
      visible: hand.visible,
      matrices: mesh && mesh.count === 25 ? [...mesh.instanceMatrix.array] : [],
    };
  };

  const plain = await handOf(PAGE);
  await plain.waitForFunction(() => 'hand' in globalThis);
  expect(await plain.evaluate(meshes)).toEqual({ visible: false, matrices: [] });
  const empty = await plain.locator('canvas').screenshot();
  await plain.close();

  const [importLine, ...others] = threeLines.trim().split('\n');
  const gloved = await handOf(`${importLine}\n${PAGE}\n${others.join('\n')}`);
  await gloved.waitForFunction(
    () => (globalThis as unknown as { hand?: { visible: boolean } }).hand?.visible === true,
  );
  const first = await gloved.evaluate(meshes);
  expect(first.matrices.length).toBeGreaterThanOrEqual(25 * 16);
  // The simulated hand never rests for long: finger tips move by centimetres.
  const tip = 9 * 16 + 12;
  await gloved.waitForFunction(
    ([x, y, z]) => {
      const { hand } = globalThis as unknown as { hand: Hand };
      const mesh = hand.children.flatMap(({ children }) => children).find((child) => child.instanceMatrix)!;
      const m = mesh.instanceMatrix.array;
      return Math.hypot(m[156] - x, m[157] - y, m[158] - z) > 0.02;
    },
    first.matrices.slice(tip, tip + 3),
  );
  const drawn = await gloved.locator('canvas').screenshot();
  expect(drawn.equals(empty)).toBe(false);
  await gloved.close();
}
