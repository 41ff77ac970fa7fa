import { type ComponentChildren, render } from 'preact';
import { Guarded } from './guarded.js';

/**
 * The panel of a part, with its heading. What goes wrong in its content stays in it.
 *
 * @param name of the part
 */
export function createPanel(
  name: string,
  label: string,
  content: ComponentChildren,
  className?: string,
): HTMLElement {
  const panel = document.createElement('section');
  const id = `${name}-title`;
  panel.setAttribute('aria-labelledby', id);
  if (className !== undefined) panel.className = className;
  render(
    <>
      <h2 id={id}>{label}</h2>
      <Guarded what={label}>{content}</Guarded>
    </>,
    panel,
  );
  return panel;
}
