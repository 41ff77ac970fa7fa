import type { Reporter, TestModule } from 'vitest/node';

/** Lists what passed only at a later try: such a test, or what it tests, is not sound. */
export default class FlakyReporter implements Reporter {
  onTestRunEnd(modules: readonly TestModule[]): void {
    const flaky: string[] = [];
    for (const module of modules) {
      for (const test of module.children.allTests('passed')) {
        const tries = 1 + (test.diagnostic()?.retryCount ?? 0);
        if (tries > 1) flaky.push(`  ${module.relativeModuleId} > ${test.fullName} (try ${tries})`);
      }
    }
    if (flaky.length > 0) console.log(`\nFlaky, passed only at a later try:\n${flaky.join('\n')}\n`);
  }
}
