import { execFileSync } from 'node:child_process';
import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { compileOnce } from '../compiled.js';
import { need } from '../requirements.js';

export const CSHARP = 'src/client/csharp';

/**
 * Compiles the C# client together with a program into one that mono runs. The compiler knows C# up to 7.2, so nothing
 * newer gets in; what its warnings find is an error.
 */
export function compileCsharp(program: string, out: string, more: string[] = []): void {
  need('mono', 'mono-runtime', 'libmono-system4.0-cil');
  need('mcs', 'mono-mcs');
  const runtime = join(CSHARP, 'Runtime');
  const sources = readdirSync(runtime).filter((file) => file.endsWith('.cs'));
  const options = ['-langversion:7.2', '-warn:4', '-warnaserror+'];
  const files = [...sources.map((file) => join(runtime, file)), ...more, program];
  compileOnce(['mcs', ...options, ...files], files, out, (part) =>
    execFileSync('mcs', [...options, `-out:${part}`, ...files], { encoding: 'utf8' }),
  );
}
