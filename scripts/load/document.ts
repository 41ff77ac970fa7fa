const BEGIN = '<!-- measured: begin -->';
const END = '<!-- measured: end -->';

/** A document with what stands between its two marks replaced. @throws Error when it has no marks */
export function withMeasured(document: string, measured: string): string {
  const begin = document.indexOf(BEGIN);
  const end = document.indexOf(END);
  if (begin < 0 || end < begin) throw new Error(`the document lacks ${BEGIN} and ${END}`);
  return `${document.slice(0, begin + BEGIN.length)}\n\n${measured}\n\n${document.slice(end)}`;
}
