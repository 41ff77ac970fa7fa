/** Long work that may be put down after each step: those who have other things to do take it up again later. */
export type Steps<Result> = Generator<void, Result>;

/** All of it, now. */
export function atOnce<Result>(steps: Steps<Result>): Result {
  for (;;) {
    const { done, value } = steps.next();
    if (done) return value;
  }
}
