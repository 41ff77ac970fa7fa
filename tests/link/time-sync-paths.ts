/** Simulated ways from a glove's clock to the arrival of its samples. */

export interface Arrival {
  /** As sent: wraps at 2^32. */
  raw: number;
  arrivalUs: number;
  /** When the sample was taken, on the host's clock. */
  truthUs: number;
}

export interface Path {
  rateHz: number;
  seconds: number;
  driftPpm?: number;
  /** Device time at the start. */
  startRaw?: number;
  /** Host time at the start. */
  startUs?: number;
  leastDelayUs?: number;
  /** An adapter passes on what it has collected every so many ms. */
  batchMs?: number;
  /** A packet is late by up to this, evenly. */
  jitterMs?: number;
  /** Part of the packets that the radio has to send again, once or more, until 30 ms are over. */
  resent?: number;
  /** Time between radio packets, each with what has been sampled since the last. */
  packetMs?: number;
  /** Part of the packets that never arrive. */
  loss?: number;
  seed?: number;
}

/** Deterministic uniform numbers (mulberry32, public domain). */
export function uniform(seed: number): () => number {
  let state = seed | 0;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
}

/** Samples in the order and at the times in which a host gets them. Links keep the order. */
export function* travel(path: Path): Generator<Arrival> {
  const { rateHz, seconds, driftPpm = 0, startRaw = 0, startUs = 1e6, leastDelayUs = 800 } = path;
  const { batchMs = 0, jitterMs = 0, packetMs = 0, resent = 0, loss = 0, seed = 1 } = path;
  const random = uniform(seed);
  const batchPhase = random();
  const packetPhase = random();
  let packet = -1;
  let packetDelayUs = 0;
  let lost = false;
  let batch = -1;
  let frameJitterUs = 0;
  let lastUs = 0;
  for (let i = 0; i < rateHz * seconds; i++) {
    const deviceUs = Math.round((i * 1e6) / rateHz);
    const truthUs = startUs + deviceUs * (1 + driftPpm * 1e-6);
    let at = truthUs;
    if (jitterMs > 0 || packetMs > 0 || loss > 0) {
      const mine = packetMs > 0 ? Math.ceil(at / (packetMs * 1000) - packetPhase) : i;
      if (mine !== packet) {
        packetDelayUs = random() * jitterMs * 1000;
        for (let ms = packetMs; ms > 0 && ms <= 30 && random() < resent; ms += packetMs)
          packetDelayUs += packetMs * 1000;
        lost = random() < loss;
      }
      packet = mine;
      if (lost) continue;
      if (packetMs > 0) at = (mine + packetPhase) * packetMs * 1000;
      at += packetDelayUs;
    }
    at += leastDelayUs;
    at = Math.max(at, lastUs);
    lastUs = at;
    if (batchMs > 0) {
      const mine = Math.ceil(at / (batchMs * 1000) - batchPhase);
      // USB asks once in each frame of 1 ms.
      if (mine !== batch) frameJitterUs = random() * 1000;
      batch = mine;
      at = (mine + batchPhase) * batchMs * 1000 + frameJitterUs;
    }
    yield { raw: (startRaw + deviceUs) % 2 ** 32, arrivalUs: at, truthUs };
  }
}
