import { FINGERS } from '../hand/joints.js';

/** What apps ask of one glove. All slots are made at the start; nothing is allocated afterwards. */

export const FINGER_COUNT = FINGERS.length;
export const DEFAULT_LAYER = '';

export interface RequestLimits {
  /** Apps that can hold requests at once. */
  maxApps: number;
  /** Layers of one app. */
  maxLayers: number;
  /** Longest life of a request, µs; longer ones are cut to it. */
  maxTtlUs: number;
}

export type SetOutcome = 'held' | 'nothingAsked' | 'tooManyApps' | 'tooManyLayers';

/**
 * Requests by app and layer. Slots 0..count-1 are in use; they move when one before them is dropped.
 * An expired request keeps its slot until `sweep`, so that the governor sees it end and reports it.
 */
export class RequestStore {
  count = 0;
  readonly apps: string[];
  readonly layers: string[];
  /** FINGER_COUNT per slot, curl. Meaningless where the effort is 0. */
  readonly stops: Float64Array;
  /** FINGER_COUNT per slot, of the permitted maximum; 0: this finger is not asked for. */
  readonly efforts: Float64Array;
  /** Per slot: the request holds while now is before this. */
  readonly expiresUs: Float64Array;

  constructor(private readonly limits: RequestLimits) {
    const capacity = limits.maxApps * limits.maxLayers;
    this.apps = new Array<string>(capacity).fill('');
    this.layers = new Array<string>(capacity).fill('');
    this.stops = new Float64Array(capacity * FINGER_COUNT);
    this.efforts = new Float64Array(capacity * FINGER_COUNT);
    this.expiresUs = new Float64Array(capacity);
  }

  /**
   * Replaces what `app` asks for on `layer`.
   * @param stops curl per finger; copied
   * @param efforts of the permitted maximum per finger, 0 for a finger that is not asked for; copied
   * @param ttlUs life; anything but a positive number is a request that has expired already
   */
  set(
    app: string,
    layer: string,
    stops: ArrayLike<number>,
    efforts: ArrayLike<number>,
    ttlUs: number,
    nowUs: number,
  ): SetOutcome {
    let asked = false;
    for (let finger = 0; finger < FINGER_COUNT; finger++) if (efforts[finger] !== 0) asked = true;
    if (!asked) {
      this.dropLayer(app, layer);
      return 'nothingAsked';
    }
    let slot = this.find(app, layer);
    if (slot < 0) {
      this.sweep(nowUs);
      const refusal = this.roomFor(app);
      if (refusal) return refusal;
      slot = this.count++;
      this.apps[slot] = app;
      this.layers[slot] = layer;
    }
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      this.stops[slot * FINGER_COUNT + finger] = stops[finger];
      this.efforts[slot * FINGER_COUNT + finger] = efforts[finger];
    }
    this.expiresUs[slot] = nowUs + (ttlUs > 0 ? Math.min(ttlUs, this.limits.maxTtlUs) : 0);
    return 'held';
  }

  drop(app: string): void {
    for (let slot = this.count - 1; slot >= 0; slot--) if (this.apps[slot] === app) this.remove(slot);
  }

  dropLayer(app: string, layer: string): void {
    const slot = this.find(app, layer);
    if (slot >= 0) this.remove(slot);
  }

  dropAll(): void {
    while (this.count > 0) this.remove(this.count - 1);
  }

  /** Drops what has expired. */
  sweep(nowUs: number): void {
    for (let slot = this.count - 1; slot >= 0; slot--) {
      if (!(nowUs < this.expiresUs[slot])) this.remove(slot);
    }
  }

  private find(app: string, layer: string): number {
    for (let slot = 0; slot < this.count; slot++) {
      if (this.apps[slot] === app && this.layers[slot] === layer) return slot;
    }
    return -1;
  }

  private roomFor(app: string): 'tooManyApps' | 'tooManyLayers' | undefined {
    let layers = 0;
    for (let slot = 0; slot < this.count; slot++) if (this.apps[slot] === app) layers++;
    if (layers >= this.limits.maxLayers) return 'tooManyLayers';
    if (layers > 0) return undefined;
    let apps = 0;
    for (let slot = 0; slot < this.count; slot++) if (this.apps.indexOf(this.apps[slot]) === slot) apps++;
    if (apps >= this.limits.maxApps) return 'tooManyApps';
    return undefined;
  }

  private remove(slot: number): void {
    const last = --this.count;
    if (slot !== last) {
      this.apps[slot] = this.apps[last];
      this.layers[slot] = this.layers[last];
      this.expiresUs[slot] = this.expiresUs[last];
      const from = last * FINGER_COUNT;
      this.stops.copyWithin(slot * FINGER_COUNT, from, from + FINGER_COUNT);
      this.efforts.copyWithin(slot * FINGER_COUNT, from, from + FINGER_COUNT);
    }
    this.apps[last] = '';
    this.layers[last] = '';
  }
}
