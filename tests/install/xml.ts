/** An XML element: enough of XML 1.0 to judge what we write, and strict about it. */
export interface XmlElement {
  name: string;
  attributes: Record<string, string>;
  children: XmlElement[];
  /** Of an element without children. */
  text: string;
}

const ENTITIES: Record<string, string> = { amp: '&', lt: '<', gt: '>', quot: '"', apos: "'" };
const decode = (text: string): string =>
  text.replace(/&(\w*);?/g, (all, name) => {
    if (!(name in ENTITIES) || !all.endsWith(';')) throw new Error(`${all} is no entity`);
    return ENTITIES[name];
  });

/** @throws Error where the text is not well formed */
export function parseXml(text: string): XmlElement {
  let at = 0;
  const take = (pattern: RegExp): RegExpExecArray | undefined => {
    const sticky = new RegExp(pattern.source, `${pattern.flags}y`);
    sticky.lastIndex = at;
    const match = sticky.exec(text);
    if (match) at = sticky.lastIndex;
    return match ?? undefined;
  };
  const must = (pattern: RegExp): RegExpExecArray => {
    const match = take(pattern);
    if (!match) throw new Error(`Expected ${pattern} at: ${text.slice(at, at + 40)}`);
    return match;
  };
  const element = (): XmlElement => {
    const [, name] = must(/<([A-Za-z][\w.-]*)/);
    const attributes: Record<string, string> = {};
    for (let found = take(/\s+([\w:.-]+)="([^"<]*)"/); found; found = take(/\s+([\w:.-]+)="([^"<]*)"/)) {
      attributes[found[1]] = decode(found[2]);
    }
    if (take(/\s*\/>/)) return { name, attributes, children: [], text: '' };
    must(/\s*>/);
    const children: XmlElement[] = [];
    const words = must(/[^<]*/)[0];
    while (!take(new RegExp(`</${name}\\s*>`))) {
      if (words.trim() !== '') throw new Error(`${name}: text beside elements`);
      children.push(element());
      must(/\s*/);
    }
    return { name, attributes, children, text: children.length > 0 ? '' : decode(words) };
  };
  must(/<\?xml version="1\.0" encoding="[\w-]+"\?>\s*/);
  take(/<!DOCTYPE [^>]*>\s*/);
  const root = element();
  must(/\s*$/);
  return root;
}

export function elementAt(root: XmlElement, path: readonly string[]): XmlElement | undefined {
  let element: XmlElement | undefined = root;
  for (const step of path) element = element?.children.find(({ name }) => name === step);
  return element;
}
