/**
 * Work that is done in a frame of the display soon after it is asked for, at most once in a period; while nobody asks,
 * nothing runs. A page that is not seen has no frames: what is asked for there waits until it is.
 *
 * @returns asks for it
 */
export function onDemand(work: (nowMs: number) => void, periodMs = 0): () => void {
  let asked = false;
  let doneMs = Number.NEGATIVE_INFINITY;
  const run = (nowMs: number) => {
    asked = false;
    doneMs = performance.now();
    work(nowMs);
  };
  const frame = () => requestAnimationFrame(run);
  return () => {
    if (asked) return;
    asked = true;
    const waitMs = doneMs + periodMs - performance.now();
    if (waitMs > 0) setTimeout(frame, waitMs);
    else frame();
  };
}

/**
 * Work that is done as soon as it is asked for, at most once in a period: for what writes only where something has changed,
 * so that no frame is asked for where nothing has.
 *
 * @returns asks for it
 */
export function atMostEvery(periodMs: number, work: () => void): () => void {
  let timer: ReturnType<typeof setTimeout> | undefined;
  let doneMs = Number.NEGATIVE_INFINITY;
  const run = () => {
    timer = undefined;
    doneMs = performance.now();
    work();
  };
  return () => {
    if (timer !== undefined) return;
    const waitMs = doneMs + periodMs - performance.now();
    if (waitMs > 0) timer = setTimeout(run, waitMs);
    else run();
  };
}
