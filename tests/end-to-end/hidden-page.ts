import type { Page } from 'playwright-core';

/**
 * Does to a page what a browser does with a tab that is not seen: no frames, and its scripts hear of it. A browser without
 * windows hides none by itself. As text: what runs scripts would put names of its own into functions.
 */
export async function hidePage(page: Page): Promise<void> {
  await page.evaluate(`(() => {
    window.seenAs = 'hidden';
    Object.defineProperty(document, 'visibilityState', { configurable: true, get: () => window.seenAs });
    Object.defineProperty(document, 'hidden', { configurable: true, get: () => window.seenAs === 'hidden' });
    window.heldFrames = [];
    window.framesWhenSeen = window.requestAnimationFrame;
    window.requestAnimationFrame = (draw) => window.heldFrames.push(draw);
    document.dispatchEvent(new Event('visibilitychange'));
  })()`);
}

/** Undoes it. @returns time until the page was sent a pose again and drew a frame after it, ms */
export async function showPage(page: Page): Promise<number> {
  return page.evaluate(`new Promise((done) => {
    const sinceMs = performance.now();
    const read = MessageEvent.prototype.__lookupGetter__('data');
    let came = false;
    Object.defineProperty(MessageEvent.prototype, 'data', {
      configurable: true,
      get() {
        const data = read.call(this);
        if (!came && typeof data !== 'string' && this.target instanceof WebSocket) {
          came = true;
          requestAnimationFrame(() => done(performance.now() - sinceMs));
        }
        return data;
      },
    });
    window.requestAnimationFrame = window.framesWhenSeen;
    window.seenAs = 'visible';
    document.dispatchEvent(new Event('visibilitychange'));
    for (const draw of window.heldFrames) requestAnimationFrame(draw);
  })`);
}
