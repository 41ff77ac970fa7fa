type Child = Node | string | undefined;
type Attributes = Record<string, string | number | boolean | undefined>;

/** An element with attributes and children; `class`, `aria-*` and the like as in HTML, true for a bare attribute. */
export function make<K extends keyof HTMLElementTagNameMap>(
  tag: K,
  attributes: Attributes = {},
  ...children: Child[]
): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === true) element.setAttribute(name, '');
    else if (value !== undefined && value !== false) element.setAttribute(name, String(value));
  }
  for (const child of children) if (child !== undefined) element.append(child);
  return element;
}

export function button(label: string, press: () => void, attributes: Attributes = {}): HTMLButtonElement {
  const element = make('button', { type: 'button', ...attributes }, label);
  element.addEventListener('click', press);
  return element;
}

/** Writes only what differs: an unchanged text must not cost a new layout. */
export function setText(element: Element, text: string): void {
  if (element.textContent !== text) element.textContent = text;
}

export function setAttribute(element: Element, name: string, value: string | undefined): void {
  if (value === undefined) {
    if (element.hasAttribute(name)) element.removeAttribute(name);
  } else if (element.getAttribute(name) !== value) element.setAttribute(name, value);
}

export function setHidden(element: HTMLElement, hidden: boolean): void {
  if (element.hidden !== hidden) element.hidden = hidden;
}

/** Drawings of our own, as SVG text without the outer element. */
export function drawing(viewBox: string, content: string, label?: string): SVGSVGElement {
  const svg = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
  svg.setAttribute('viewBox', viewBox);
  if (label === undefined) svg.setAttribute('aria-hidden', 'true');
  else {
    svg.setAttribute('role', 'img');
    svg.setAttribute('aria-label', label);
  }
  svg.innerHTML = content;
  return svg;
}
