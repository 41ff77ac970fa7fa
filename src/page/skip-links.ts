import { make } from './dom.js';

/** The first stops of the Tab key, seen while they have the focus: past the controls that every part has. */
export function createSkipLinks(targets: readonly (readonly [string, HTMLElement])[]): HTMLElement {
  const links = targets.map(([label, target], i) => {
    target.id ||= `skip-${i}`;
    const link = make('a', { href: `#${target.id}`, class: 'skip' }, label);
    link.addEventListener('click', (event) => {
      // The address names the part that is shown.
      event.preventDefault();
      target.focus();
    });
    return link;
  });
  return make('nav', { class: 'skips', 'aria-label': 'Skip' }, ...links);
}
