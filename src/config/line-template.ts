/**
 * The output line of a text glove: text with fields such as {index.us}. Read in one place for validation and for
 * the codec.
 */

/** What a field may stand for: 0..1, 0..1 and µs. */
export const TEMPLATE_QUANTITIES = ['stop', 'effort', 'us'] as const;
export type TemplateQuantity = (typeof TEMPLATE_QUANTITIES)[number];

export interface TemplateField {
  /** With its braces. */
  field: string;
  role: string;
  /** Undefined when there is no such quantity. */
  quantity: TemplateQuantity | undefined;
  /** What stands for the quantity. */
  wrote: string;
}

/** Literal text and fields, in order. */
export function parseTemplate(template: string): (string | TemplateField)[] {
  const parts: (string | TemplateField)[] = [];
  let at = 0;
  for (const match of template.matchAll(/\{([^{}]*)\}/g)) {
    if (match.index > at) parts.push(template.slice(at, match.index));
    at = match.index + match[0].length;
    const dot = match[1].indexOf('.');
    const role = dot < 0 ? match[1] : match[1].slice(0, dot);
    const wrote = dot < 0 ? '' : match[1].slice(dot + 1);
    const quantity = TEMPLATE_QUANTITIES.find((known) => known === wrote);
    parts.push({ field: match[0], role, quantity, wrote });
  }
  if (at < template.length) parts.push(template.slice(at));
  return parts;
}
