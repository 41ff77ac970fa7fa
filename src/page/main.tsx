import { render } from 'preact';
import { DialogLayer } from './dialog.js';
import { DisarmBar, disarmOnEscape } from './disarm-bar.js';
import { Failed } from './guarded.js';
import { createLive } from './live.js';
import { createShell } from './shell.js';
import { restoreTheme } from './theme.js';

/** A layer of the page is drawn by itself: what goes wrong in one leaves the others as they are. */
function layer(): HTMLElement {
  const element = document.createElement('div');
  element.className = 'layer';
  document.body.append(element);
  return element;
}

restoreTheme();
const live = createLive();
const [page, dialogs, disarmBar] = [layer(), layer(), layer()];
// Before all else, which can then not take it away.
disarmOnEscape(live);
render(<DisarmBar live={live} />, disarmBar);
render(<DialogLayer />, dialogs);
try {
  createShell(live, page);
} catch (error) {
  reportError(error);
  render(<Failed what="The page" error={error} />, page);
}
