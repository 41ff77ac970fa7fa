/**
 * Notices samples that come in bursts: several in each read, although the glove took them one by one. Many USB serial
 * adapters collect bytes for 16 ms before they pass them on (common practice of such chips).
 */
export interface Batching {
  take(deviceUs: number, arrivalUs: number): void;
  restart(): void;
}

const PERIOD_US = 1_000_000;
/** Shorter bursts are the pace of USB and of this process, and harmless. */
const LEAST_MS = 5;
const LEAST_SAMPLES_A_READ = 1.5;
/** A busy moment is not a burst: this many periods in a row must agree. */
const PERIODS = 3;

/** @param verdict its batchMs is kept: time between reads, ms, or 0 when samples do not come in bursts */
export function createBatching(verdict: { batchMs: number }): Batching {
  const at = { startUs: Number.NaN, arrivalUs: Number.NaN };
  let samples = 0;
  let reads = 0;
  let agreeing = 0;

  const judge = (passedUs: number): void => {
    const betweenMs = passedUs / reads / 1000;
    const bursts = samples >= LEAST_SAMPLES_A_READ * reads && betweenMs >= LEAST_MS;
    const same = bursts === verdict.batchMs > 0;
    agreeing = same ? 0 : agreeing + 1;
    if (same ? bursts : agreeing >= PERIODS) verdict.batchMs = bursts ? betweenMs : 0;
  };

  return {
    take(deviceUs, arrivalUs) {
      if (!(deviceUs - at.startUs < PERIOD_US)) {
        if (reads > 0) judge(deviceUs - at.startUs);
        at.startUs = deviceUs;
        samples = 0;
        reads = 0;
      }
      samples++;
      if (arrivalUs !== at.arrivalUs) reads++;
      at.arrivalUs = arrivalUs;
    },
    restart() {
      at.startUs = Number.NaN;
      at.arrivalUs = Number.NaN;
      samples = 0;
      reads = 0;
      agreeing = 0;
    },
  };
}
