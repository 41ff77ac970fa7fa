import { describeStep, type Step } from '../../install/plan.js';
import { runStep } from '../../install/run-step.js';

/** Says each step, and does it unless it is only to be shown. */
export function follow(steps: readonly Step[], dryRun: boolean | undefined): void {
  for (const step of steps) {
    console.log(`${dryRun ? 'would ' : ''}${describeStep(step)}`);
    if (dryRun && step.kind === 'write') console.log(step.text.replace(/^/gm, '    '));
    if (!dryRun) runStep(step);
  }
}
