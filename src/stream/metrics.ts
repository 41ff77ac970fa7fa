import { type IntervalHistogram, monitorEventLoopDelay } from 'node:perf_hooks';
import { FINGERS } from '../hand/joints.js';
import { INFERRED, INVALID, TRACKED } from '../hand/validity.js';
import type { Hub } from './hub.js';

/** Prometheus text exposition format 0.0.4. */
export const METRICS_TYPE = 'text/plain; version=0.0.4; charset=utf-8';

const FINGER_STATES = [
  ['invalid', INVALID],
  ['inferred', INFERRED],
  ['tracked', TRACKED],
] as const;

type Labels = Record<string, string>;

/** The service's figures, read when somebody asks: nothing is counted for them per frame. */
export class Metrics {
  readonly #delay: IntervalHistogram = monitorEventLoopDelay({ resolution: 20 });

  constructor(readonly hub: Hub) {
    this.#delay.enable();
  }

  close(): void {
    this.#delay.disable();
  }

  text(): string {
    const { hub } = this;
    const lines: string[] = [];
    const family = (
      name: string,
      type: 'gauge' | 'counter',
      help: string,
      samples: readonly (readonly [Labels, number])[],
    ) => {
      if (samples.length === 0) return;
      lines.push(`# HELP tautline_${name} ${help}`, `# TYPE tautline_${name} ${type}`);
      for (const [labels, value] of samples) lines.push(`tautline_${name}${labelText(labels)} ${value}`);
    };
    const hands = hub.gloves.map((glove) => ({
      glove,
      hand: { hand: glove.description.hand },
      health: glove.readHealth(),
    }));
    const memory = process.memoryUsage();

    family('info', 'gauge', 'Version of the service; always 1.', [[{ version: hub.version }, 1]]);
    family(
      'link_live',
      'gauge',
      'Whether the link to the glove is live.',
      hands.map(({ hand, health }) => [hand, health.link.state === 'live' ? 1 : 0]),
    );
    family(
      'link_lost_frames_total',
      'counter',
      'Frames that were lost, damaged, malformed or too long.',
      hands.map(({ hand, health }) => [hand, health.lost]),
    );
    family(
      'link_sample_rate_hertz',
      'gauge',
      'Samples a second, measured.',
      hands.map(({ hand, health }) => [hand, health.rateHz]),
    );
    family(
      'link_jitter_seconds',
      'gauge',
      'Jitter of the arrival of samples.',
      hands.flatMap(({ hand, health }) =>
        health.clock ? [[hand, health.clock.jitterUs / 1e6] as const] : [],
      ),
    );
    family(
      'link_round_trip_seconds',
      'gauge',
      'Time from a ping to its pong; absent until there was one.',
      hands.flatMap(({ hand, health }) =>
        health.clock?.roundTripUs === undefined ? [] : [[hand, health.clock.roundTripUs / 1e6] as const],
      ),
    );
    family(
      'armed',
      'gauge',
      'Whether the glove is armed.',
      hands.map(({ hand, glove }) => [hand, glove.armed ? 1 : 0]),
    );
    family(
      'finger_state',
      'gauge',
      'One of the states of each finger is 1.',
      hands.flatMap(({ hand, glove }) =>
        FINGERS.flatMap((finger, f) =>
          FINGER_STATES.map(
            ([state, code]) =>
              [{ ...hand, finger, state }, glove.frame.fingerStates[f] === code ? 1 : 0] as const,
          ),
        ),
      ),
    );
    family('apps', 'gauge', 'Apps that are connected.', [[{}, hub.sessions.size]]);
    family(
      'dropped_messages_total',
      'counter',
      'Messages that were replaced by newer ones because a reader was slow.',
      [[{}, hub.droppedMessages]],
    );
    family(
      'event_loop_delay_max_seconds',
      'gauge',
      'Longest delay of the event loop since the last reading.',
      [[{}, this.#delay.max / 1e9]],
    );
    family('resident_memory_bytes', 'gauge', 'Resident memory.', [[{}, memory.rss]]);
    family('heap_used_bytes', 'gauge', 'Memory of the JavaScript heap in use.', [[{}, memory.heapUsed]]);
    const resources = new Map<string, number>();
    for (const type of process.getActiveResourcesInfo()) resources.set(type, (resources.get(type) ?? 0) + 1);
    family(
      'active_resources',
      'gauge',
      'What keeps the process alive, by type: timers, sockets, ports.',
      [...resources].map(([type, count]) => [{ type }, count]),
    );
    family('uptime_seconds', 'gauge', 'Time since the start.', [[{}, process.uptime()]]);
    this.#delay.reset();
    return `${lines.join('\n')}\n`;
  }
}

function labelText(labels: Labels): string {
  const each = Object.entries(labels).map(
    ([name, value]) =>
      `${name}="${value.replaceAll('\\', '\\\\').replaceAll('"', '\\"').replaceAll('\n', '\\n')}"`,
  );
  return each.length === 0 ? '' : `{${each.join(',')}}`;
}
