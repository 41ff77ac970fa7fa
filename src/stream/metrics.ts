import { createHistogram, type Histogram } from 'node:perf_hooks';
import { nowUs, untilNextMs } from '../clock.js';
import { BEAT_MS } from '../glove/beat.js';
import type { Glove } from '../glove/view.js';
import { FINGERS } from '../hand/joints.js';
import { FINGER_STATES } from '../protocol/constants.js';
import type { ConnectionCounts } from './connection-limits.js';
import type { Hub } from './hub.js';
import { type MetricFamily, writePrometheus } from './prometheus.js';

const ENCODINGS = ['json', 'binary'] as const;

export interface Metrics {
  /** The present counts as Prometheus text. Nothing is counted for it: the numbers are read where they are. */
  read(): string;
  close(): void;
}

export function createMetrics(hub: Hub, connectionCounts: () => ConnectionCounts): Metrics {
  const lateness = watchLateness();
  return {
    read: () =>
      writePrometheus([
        ...ofService(hub, lateness.seen),
        ...ofApps(hub, connectionCounts()),
        ...hub.gloves.flatMap((glove, i) => ofGlove(glove, i)).reduce(mergeFamilies, []),
      ]),
    close: lateness.stop,
  };
}

/** How late timers run, ns. A timer of its own, which wakes the process when gloves' beats do anyway. */
function watchLateness(): { seen: Histogram; stop(): void } {
  const seen = createHistogram();
  let timer: NodeJS.Timeout;
  const wait = (): void => {
    const beganUs = nowUs();
    const waitMs = untilNextMs(beganUs, BEAT_MS);
    timer = setTimeout(() => {
      // At least 1: a histogram takes no 0.
      seen.record(Math.max(1, Math.round((nowUs() - beganUs - waitMs * 1000) * 1000)));
      wait();
    }, waitMs);
    timer.unref();
  };
  wait();
  return { seen, stop: () => clearTimeout(timer) };
}

/** One glove's samples beside the other's. */
function mergeFamilies(merged: MetricFamily[], family: MetricFamily): MetricFamily[] {
  const known = merged.find(({ name }) => name === family.name);
  if (known) known.samples.push(...family.samples);
  else merged.push({ ...family, samples: [...family.samples] });
  return merged;
}

function ofService(hub: Hub, lateness: Histogram): MetricFamily[] {
  const { rss, heapUsed } = process.memoryUsage();
  const { user, system } = process.cpuUsage();
  const { count } = lateness;
  const resources = new Map<string, number>();
  for (const type of process.getActiveResourcesInfo()) resources.set(type, (resources.get(type) ?? 0) + 1);
  return [
    gauge('tautline_info', 'Version of the service; always 1.', 1, { version: hub.version }),
    gauge('tautline_resident_memory_bytes', 'Resident memory of the service.', rss),
    gauge('tautline_heap_used_bytes', 'JavaScript heap in use.', heapUsed),
    counter(
      'tautline_processor_seconds_total',
      'Processor time of the service, user and system.',
      (user + system) / 1e6,
    ),
    gauge('tautline_uptime_seconds', 'Time since the start.', process.uptime()),
    {
      name: 'tautline_active_resources',
      type: 'gauge',
      help: 'What keeps the process alive, by type: timers, sockets, ports.',
      samples: [...resources].map(([type, value]) => ({ labels: { type }, value })),
    },
    {
      name: 'tautline_event_loop_delay_seconds',
      type: 'summary',
      help: 'How late timers run, since the start.',
      samples: [
        ...[0.5, 0.99, 1].map((quantile) => ({
          labels: { quantile: String(quantile) },
          value: count === 0 ? 0 : lateness.percentile(quantile * 100) / 1e9,
        })),
        { suffix: '_sum', value: count === 0 ? 0 : (lateness.mean / 1e9) * count },
        { suffix: '_count', value: count },
      ],
    },
  ];
}

function ofApps(hub: Hub, { open, refused }: ConnectionCounts): MetricFamily[] {
  const { counts } = hub;
  const connections = [...hub.connections];
  return [
    {
      name: 'tautline_subscribers',
      type: 'gauge',
      help: 'Apps with a subscription.',
      samples: ENCODINGS.map((encoding) => ({
        labels: { encoding },
        value: connections.filter((connection) => connection.wanted && connection.encoding === encoding)
          .length,
      })),
    },
    gauge('tautline_apps', 'Apps that are connected.', connections.length),
    gauge(
      'tautline_app_waiting_bytes',
      'Bytes that came from apps and wait for the rest of a message, or for their turn.',
      connections.reduce((sum, { keeps }) => sum + keeps, 0),
    ),
    {
      name: 'tautline_connections',
      type: 'gauge',
      help: 'Open connections: streams, and others such as requests.',
      samples: [
        { labels: { kind: 'stream' }, value: connections.length },
        { labels: { kind: 'request' }, value: open },
      ],
    },
    {
      name: 'tautline_connections_refused_total',
      type: 'counter',
      help: 'Connections turned away, by reason.',
      samples: [
        { labels: { reason: 'address' }, value: refused.address },
        { labels: { reason: 'crowded' }, value: refused.crowded },
        { labels: { reason: 'too_many_apps' }, value: counts.tooManyApps },
        { labels: { reason: 'not_permitted' }, value: counts.notPermitted },
      ],
    },
    {
      name: 'tautline_dropped_messages_total',
      type: 'counter',
      help: 'Poses and other news replaced by newer ones before a slow app took them.',
      samples: ENCODINGS.map((encoding) => ({
        labels: { encoding },
        value: connections.reduce(
          (sum, connection) => sum + (connection.encoding === encoding ? connection.dropped : 0),
          counts.dropped[encoding],
        ),
      })),
    },
    counter('tautline_app_messages_total', 'Messages taken from apps.', counts.messages),
    counter(
      'tautline_app_messages_refused_total',
      'Messages of apps that were answered by an error.',
      counts.refused,
    ),
  ];
}

function ofGlove(glove: Glove, index: number): MetricFamily[] {
  const { description, frame, linkStatus, armed } = glove;
  const { counters, clock, rateHz, poses, releases, interventions } = glove.readMetrics();
  const { hand } = description;
  // Two gloves of one hand cannot be, but a glove may say another hand than the profile: keep them apart.
  const labels = { hand, glove: String(index) };
  const errors = {
    bad_crc: counters.badCrc,
    malformed: counters.malformed,
    oversize: counters.oversize,
    unknown_type: counters.unknownType,
  };
  const s = (us: number | undefined) => (us === undefined ? [] : [{ labels, value: us / 1e6 }]);
  return [
    gauge(
      'tautline_link_live',
      'Whether the link to the glove is live.',
      linkStatus.state === 'live' ? 1 : 0,
      labels,
    ),
    counter('tautline_link_received_bytes_total', 'Bytes from the glove.', counters.bytes, labels),
    counter(
      'tautline_link_frames_total',
      'Frames or lines from the glove that were understood.',
      counters.frames,
      labels,
    ),
    counter(
      'tautline_link_samples_lost_total',
      'Samples missing by their sequence number.',
      counters.lost,
      labels,
    ),
    {
      name: 'tautline_link_frame_errors_total',
      type: 'counter',
      help: 'Frames that were not understood, by fault; after each the decoder resumes at the next one.',
      samples: Object.entries(errors).map(([fault, value]) => ({ labels: { ...labels, fault }, value })),
    },
    {
      name: 'tautline_link_round_trip_seconds',
      type: 'gauge',
      help: 'Least round trip to the glove lately.',
      samples: s(clock.roundTripUs),
    },
    {
      name: 'tautline_link_jitter_seconds',
      type: 'gauge',
      help: 'Mean delay of samples beyond the least.',
      samples: s(clock.jitterUs),
    },
    counter('tautline_link_clock_resets_total', "Times the glove's clock jumped.", clock.resets, labels),
    gauge('tautline_link_sample_rate_hertz', 'Samples a second, measured.', rateHz, labels),
    counter('tautline_poses_total', 'Poses computed.', poses, labels),
    gauge('tautline_pose_valid', 'Whether the pose of the hand is valid.', frame.valid ? 1 : 0, labels),
    gauge('tautline_armed', 'Whether the wearer has armed the glove.', armed ? 1 : 0, labels),
    counter('tautline_releases_total', 'Releases sent to the glove.', releases, labels),
    {
      name: 'tautline_interventions_total',
      type: 'counter',
      help: 'Times a limit of the governor began to act, by its name.',
      samples: Object.entries(interventions).map(([reason, value]) => ({
        labels: { ...labels, reason },
        value,
      })),
    },
    {
      name: 'tautline_finger_state',
      type: 'gauge',
      help: 'State of each finger: 1 for the one that holds.',
      samples: FINGERS.flatMap((finger, f) =>
        FINGER_STATES.map((state, code) => ({
          labels: { ...labels, finger, state },
          value: frame.fingerStates[f] === code ? 1 : 0,
        })),
      ),
    },
  ];
}

const gauge = (name: string, help: string, value: number, labels?: Record<string, string>): MetricFamily => ({
  name,
  type: 'gauge',
  help,
  samples: [{ value, ...(labels ? { labels } : {}) }],
});
const counter = (
  name: string,
  help: string,
  value: number,
  labels?: Record<string, string>,
): MetricFamily => ({
  ...gauge(name, help, value, labels),
  type: 'counter',
});
