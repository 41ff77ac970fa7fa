import { carryOut } from '../../install/carry-out.js';
import { describeStep, type Step } from '../../install/plan.js';

/** Says each step, and does it unless it is only to be shown. */
export function follow(steps: readonly Step[], dryRun: boolean | undefined): void {
  for (const step of steps) {
    console.log(`${dryRun ? 'would ' : ''}${describeStep(step)}`);
    if (dryRun && step.kind === 'write') console.log(step.text.replace(/^/gm, '    '));
    if (!dryRun) carryOut(step);
  }
}
