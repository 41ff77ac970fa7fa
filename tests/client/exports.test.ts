import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';

const { exports } = JSON.parse(readFileSync('package.json', 'utf8')) as {
  exports: Record<string, string | { default: string }>;
};
const ROOMS = Object.values(exports).flatMap((one) => (typeof one === 'string' ? [] : [one.default]));

it.each(ROOMS)('importing %s starts nothing and prints nothing', (path) => {
  const script = `await import(process.argv[1]);
    console.log(JSON.stringify(process.getActiveResourcesInfo().filter((name) => /Timeout|TCP|Pipe|Server/.test(name))))`;
  const room = new URL(`../../${path}`, import.meta.url).href;
  const stdout = execFileSync(process.execPath, ['--input-type=module', '-e', script, room], {
    encoding: 'utf8',
  });
  expect(stdout.trim().replaceAll(/"PipeWrap",?/g, '')).toBe('[]');
});
