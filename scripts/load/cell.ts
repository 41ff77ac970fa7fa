import type { HostGlove } from './bed.js';
import { costOf, pause, type Readers, type ServiceProcess } from './bed.js';
import { monotonicUs } from './clock.js';
import type { Encoding } from './reader-messages.js';

/** What a service cost, and what its readers got, over some seconds. */
export interface Outcome {
  /** Of one core. */
  cpuPercent: number;
  residentMb: number;
  /** From the glove's sample to the message at the reader, µs. */
  p50Us: number;
  p99Us: number;
  /** Poses that came to a reader in a second, and those that should have. */
  posesPerS: number;
  duePerS: number;
  /** Poses that a reader was too slow for, part of all. */
  dropped: number;
  /** Of the readers' process, of one core: near 100 it is they who are slow. */
  readersCpuPercent: number;
}

/** Counts for some seconds. */
export async function measure(
  service: ServiceProcess,
  readers: Readers,
  due: { gloves: number; rateHz: number; subscribers: number },
  seconds: number,
): Promise<Outcome> {
  await readers.tell({ kind: 'reset' });
  const before = costOf(service.pid);
  const beforeUs = monotonicUs();
  await pause(seconds * 1000);
  const after = costOf(service.pid);
  const elapsedUs = monotonicUs() - beforeUs;
  const report = await readers.report();
  return {
    cpuPercent: (100 * (after.cpuUs - before.cpuUs)) / elapsedUs,
    residentMb: after.residentMb,
    p50Us: report.p50Us,
    p99Us: report.p99Us,
    posesPerS: (report.poses * 1e6) / report.elapsedUs,
    duePerS: due.gloves * due.rateHz * due.subscribers,
    dropped: report.dropped / Math.max(1, report.dropped + report.poses),
    readersCpuPercent: (100 * report.cpuUs) / report.elapsedUs,
  };
}

/** Connects readers and lets the service come to its pace. */
export async function join(
  service: ServiceProcess,
  gloves: readonly HostGlove[],
  readers: Readers,
  encoding: Encoding,
  count: number,
  warmUpMs = 1000,
): Promise<void> {
  const clockUs = Object.fromEntries(gloves.map(({ hand, clockUs }) => [hand, clockUs]));
  await readers.tell({ kind: 'open', url: service.url, encoding, count, clockUs });
  await pause(warmUpMs);
}
