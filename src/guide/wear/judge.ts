import type { SensorDay } from './measure.js';
import { type Change, changeOf, type DatedValue, isEnough } from './trend.js';

/** What wear is seen of a sensor. */
export interface WearFinding {
  readonly role: string;
  readonly sign: 'noise' | 'jumps' | 'friction' | 'range' | 'ends';
  readonly change: Change;
  /** Whole sentences. */
  readonly says: string;
  readonly remedy: string;
}

export interface WearReport {
  /** Per sensor, days of which something is known. */
  readonly sensors: readonly { readonly role: string; readonly days: number; readonly enough: boolean }[];
  readonly findings: readonly WearFinding[];
}

export interface DatedDay {
  readonly atMs: number;
  readonly sensors: readonly SensorDay[];
}

/** Worn: times as noisy, and so much of full scale that a finger shows it. Common practice, like the others. */
const NOISIER = 2;
const NOISE_SHOWS = 0.0006;
/** Jumps an hour, and times as many as before. */
const JUMPS = 4;
const MORE_JUMPS = 3;
/** Further behind by this part of the range. */
const STICKS = 0.04;
/** Range lost, and both ends moved, part of the range. */
const SHORTER = 0.1;
const SHIFTED = 0.06;

/** @param days of one glove, by time; a day may be a session or a fit */
export function judgeWear(days: readonly DatedDay[]): WearReport {
  const roles = [...new Set(days.flatMap(({ sensors }) => sensors.map(({ role }) => role)))];
  const findings: WearFinding[] = [];
  const sensors = roles.map((role) => {
    const of = (figure: (day: SensorDay) => number): DatedValue[] =>
      days.flatMap(({ atMs, sensors: all }) => {
        const own = all.find((one) => one.role === role);
        const value = own ? figure(own) : Number.NaN;
        return Number.isFinite(value) ? [{ atMs, value }] : [];
      });
    const noise = of((day) => day.noise);
    const range = of((day) => day.high - day.low);
    findings.push(
      ...noiseOf(role, changeOf(noise)),
      ...jumpsOf(role, changeOf(of((day) => day.jumpsPerHour))),
      ...frictionOf(role, changeOf(of((day) => day.friction))),
      ...rangeOf(role, changeOf(range), changeOf(of((day) => (day.high + day.low) / 2)), range),
    );
    return { role, days: Math.max(noise.length, range.length), enough: isEnough(noise) || isEnough(range) };
  });
  return { sensors, findings };
}

const since = ({ sinceMs }: Change): string => `since ${new Date(sinceMs).toISOString().slice(0, 10)}`;
const percent = (part: number): string => `${(100 * part).toFixed(0)} %`;

function noiseOf(role: string, change: Change | undefined): WearFinding[] {
  if (!change || change.after < NOISE_SHOWS || change.after < NOISIER * change.before) return [];
  const times = change.after / Math.max(change.before, 1e-4);
  return [
    {
      role,
      sign: 'noise',
      change,
      says: `${role}: noisier by ${times.toFixed(1)} times ${since(change)}.`,
      remedy: 'Its track is worn or dirty: clean it with contact cleaner, or replace the potentiometer.',
    },
  ];
}

function jumpsOf(role: string, change: Change | undefined): WearFinding[] {
  if (!change || change.after < JUMPS || change.after < MORE_JUMPS * change.before) return [];
  return [
    {
      role,
      sign: 'jumps',
      change,
      says: `${role}: ${change.after.toFixed(0)} jumps an hour ${since(change)}, ${change.before.toFixed(0)} before.`,
      remedy:
        'A wire or a contact is about to break: look at plugs, solder joints and where the cable bends.',
    },
  ];
}

function frictionOf(role: string, change: Change | undefined): WearFinding[] {
  if (!change || change.after - change.before < STICKS) return [];
  return [
    {
      role,
      sign: 'friction',
      change,
      says: `${role}: begins to move ${percent(change.after)} of its range after the others ${since(change)}, ${percent(Math.max(0, change.before))} before.`,
      remedy:
        'The string rubs or the spring is weak: look at guide, string and spool for wear; clean or replace them.',
    },
  ];
}

function rangeOf(
  role: string,
  range: Change | undefined,
  middle: Change | undefined,
  all: readonly DatedValue[],
): WearFinding[] {
  const found: WearFinding[] = [];
  if (range && range.after < (1 - SHORTER) * range.before) {
    found.push({
      role,
      sign: 'range',
      change: range,
      says: `${role}: uses ${percent(1 - range.after / range.before)} less of its range ${since(range)}.`,
      remedy:
        'The string slips on its spool or rubs, or the finger no longer goes so far: look at knot and guide, then fit again.',
    });
  }
  const first = all.length > 0 ? all[0].value : Number.NaN;
  if (middle && Math.abs(middle.after - middle.before) > SHIFTED * first) {
    found.push({
      role,
      sign: 'ends',
      change: middle,
      says: `${role}: both ends have moved by ${percent(Math.abs(middle.after - middle.before) / first)} of its range ${since(middle)}.`,
      remedy: 'The string has stretched, or a clamp has crept: fix it, then fit again.',
    });
  }
  return found;
}
