/**
 * The Prometheus text exposition format, version 0.0.4: written by hand, since the format is a page long. Names follow its
 * naming rules: a prefix, base units, `_total` for counters.
 */
export const PROMETHEUS_TYPE = 'text/plain; version=0.0.4; charset=utf-8';

export type Labels = Record<string, string>;
export interface MetricFamily {
  name: string;
  type: 'counter' | 'gauge' | 'summary';
  help: string;
  /** `suffix`: of a summary's `_sum` and `_count`. */
  samples: { value: number; labels?: Labels; suffix?: '_sum' | '_count' }[];
}

/** Families without samples are left out. */
export function writePrometheus(families: readonly MetricFamily[]): string {
  const lines: string[] = [];
  for (const { name, type, help, samples } of families) {
    if (samples.length === 0) continue;
    lines.push(
      `# HELP ${name} ${help.replaceAll('\\', '\\\\').replaceAll('\n', '\\n')}`,
      `# TYPE ${name} ${type}`,
    );
    for (const { value, labels, suffix = '' } of samples) {
      lines.push(`${name}${suffix}${labelText(labels)} ${number(value)}`);
    }
  }
  return `${lines.join('\n')}\n`;
}

function labelText(labels: Labels = {}): string {
  const pairs = Object.entries(labels).map(([key, value]) => `${key}="${escaped(value)}"`);
  return pairs.length === 0 ? '' : `{${pairs.join(',')}}`;
}

const escaped = (value: string): string =>
  value.replaceAll('\\', '\\\\').replaceAll('"', '\\"').replaceAll('\n', '\\n');

const number = (value: number): string =>
  Number.isFinite(value) ? String(value) : Number.isNaN(value) ? 'NaN' : value > 0 ? '+Inf' : '-Inf';
