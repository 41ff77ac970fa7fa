import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type { Page } from 'playwright-core';

const AXE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

/** WCAG 2.2 A and AA, and best practice. */
export const RULES = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];

/** Findings that are moderate or worse, a line each. */
export async function audit(page: Page, rules: readonly string[] = RULES): Promise<string[]> {
  await page.evaluate(`window.axe ?? (() => {${AXE}})()`);
  const { violations } = await page.evaluate(
    (runOnly) =>
      (
        window as unknown as {
          axe: {
            run(
              options: object,
            ): Promise<{ violations: { id: string; impact: string; nodes: { html: string }[] }[] }>;
          };
        }
      ).axe.run({ runOnly }),
    [...rules],
  );
  return violations
    .filter(({ impact }) => impact !== 'minor')
    .map(
      ({ id, impact, nodes }) =>
        `${id} (${impact}): ${nodes.map(({ html }) => html.slice(0, 120)).join(' | ')}`,
    );
}
