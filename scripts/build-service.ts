import { mkdirSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

/** Begins dist/ anew: the program, and the licences of all that is inside the package's files. */

const [major, minor] = process.versions.node.split('.').map(Number);
// The program itself runs on any Node 20; the tools that build it fail on older ones without saying why.
if (major < 20 || (major === 20 && minor < 19)) {
  console.error(
    `To build Tautline takes Node 20.19 or newer, and this is ${process.version}. Install a newer one.`,
  );
  process.exit(1);
}
const { bundleService } = await import('./service-bundle.js');
const { noticesOf, packagesInside } = await import('./packages-inside.js');

mkdirSync('dist', { recursive: true });
// The OpenXR layer takes a compiler, is built apart, and applications may have it loaded.
for (const name of readdirSync('dist').filter((each) => each !== 'openxr')) {
  rmSync(join('dist', name), { recursive: true, force: true });
}
const files = await bundleService('dist', true);
writeFileSync('dist/third-party-licences.txt', noticesOf(await packagesInside(files)));
