/**
 * A program's name as it is compared: without folder and `.exe`, in small letters (those of ASCII). The layer does the same
 * to its own, in src/openxr/program.cpp.
 */
export const programName = (file: string): string =>
  file
    .replace(/^.*[/\\]/, '')
    .replace(/[A-Z]/g, (letter) => letter.toLowerCase())
    .replace(/\.exe$/, '');

/** Which programs are served: those of `allow`, every one when absent, but for those of `deny`. */
export interface ServedPrograms {
  allow?: readonly string[] | undefined;
  deny: readonly string[];
}

export function isServed(program: string, { allow, deny }: ServedPrograms): boolean {
  const name = programName(program);
  const names = (list: readonly string[]) => list.some((each) => programName(each) === name);
  return !names(deny) && (allow === undefined || names(allow));
}
