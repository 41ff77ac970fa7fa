import { type ComponentChildren, render } from 'preact';
import { Guarded } from './guarded.js';

interface PanelOptions {
  className?: string;
  /** The heading is for those who do not see the page. */
  unseenHeading?: boolean;
}

/**
 * The panel of a part, with its heading. What goes wrong in its content stays in it.
 *
 * @param name of the part
 */
export function createPanel(
  name: string,
  label: string,
  content: ComponentChildren,
  { className = '', unseenHeading = false }: PanelOptions = {},
): HTMLElement {
  const panel = document.createElement('section');
  const id = `${name}-title`;
  panel.setAttribute('aria-labelledby', id);
  panel.className = className;
  render(
    <>
      <h2 id={id} class={unseenHeading ? 'unseen' : undefined}>
        {label}
      </h2>
      <Guarded what={label}>{content}</Guarded>
    </>,
    panel,
  );
  return panel;
}
