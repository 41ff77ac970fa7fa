/** Versions as Semantic Versioning 2.0.0 writes them, without pre-releases and builds: this project has none. */

const VERSION = /^(0|[1-9]\d*)\.(0|[1-9]\d*)\.(0|[1-9]\d*)$/;
const PARTS = ['major', 'minor', 'patch'] as const;

type Numbers = readonly [number, number, number];

/** @throws Error with one line for what is no version */
export function versionNumbers(version: string): Numbers {
  const match = VERSION.exec(version);
  if (!match) throw new Error(`${version} is no version such as 1.2.3.`);
  return [Number(match[1]), Number(match[2]), Number(match[3])];
}

/** Below 0 if `a` comes before `b`, 0 if they are the same. */
export function compareVersions(a: string, b: string): number {
  const [numbers, others] = [versionNumbers(a), versionNumbers(b)];
  const first = numbers.findIndex((number, part) => number !== others[part]);
  return first < 0 ? 0 : numbers[first] - others[first];
}

/**
 * @param asked a version, or which of its numbers is to grow
 * @throws Error with one line when it is neither, or not beyond the present one
 */
export function nextVersion(present: string, asked: string): string {
  const part = PARTS.indexOf(asked as (typeof PARTS)[number]);
  if (part >= 0) {
    return versionNumbers(present)
      .map((number, i) => (i < part ? number : i === part ? number + 1 : 0))
      .join('.');
  }
  if (!VERSION.test(asked)) {
    throw new Error(`${asked} is no version such as 1.2.3; or say ${PARTS.toReversed().join(', ')}.`);
  }
  if (compareVersions(asked, present) <= 0) {
    throw new Error(`${asked} is not beyond ${present}, which package.json has.`);
  }
  return asked;
}
