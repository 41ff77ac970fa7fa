import { type FromBridge, type FromPage, OPEN_KEY, PORT_NAME, type ToBridge } from './messages.js';

/** In the page, in a world of its own: passes on what goes between the page and the worker. */

/** Records that are passed on before the worker is told. */
const TELL_AFTER = 8;
const GONE = 'The extension was changed or removed. Reload the page.';

const world = globalThis as { tautlineBridge?: true };
if (!world.tautlineBridge) {
  world.tautlineBridge = true;
  window.addEventListener('message', ({ source, data, ports }: MessageEvent<unknown>) => {
    if (source !== window || data !== OPEN_KEY || !ports[0]) return;
    join(ports[0]);
  });
}

function join(page: MessagePort): void {
  let worker: ChromePort;
  try {
    worker = chrome.runtime.connect({ name: PORT_NAME });
  } catch {
    page.postMessage({ closed: [4001, GONE] });
    return;
  }
  let passed = 0;
  /** The port may be gone before that is said. */
  const tell = (message: FromBridge): void => {
    try {
      worker.postMessage(message);
    } catch {
      page.postMessage({ closed: [1006, GONE] });
    }
  };
  worker.onMessage.addListener((raw) => {
    const message = raw as ToBridge;
    if ('text' in message) page.postMessage(message.text);
    else if ('record' in message) {
      const bytes = Uint8Array.from(atob(message.record), (letter) => letter.charCodeAt(0)).buffer;
      page.postMessage(bytes, [bytes]);
      if (++passed < TELL_AFTER) return;
      tell({ taken: passed });
      passed = 0;
    } else page.postMessage(message);
  });
  worker.onDisconnect.addListener(() => page.postMessage({ closed: [1006, GONE] }));
  page.onmessage = ({ data }: MessageEvent<string | FromPage>) => {
    if (typeof data === 'string') tell({ text: data });
    else {
      worker.disconnect();
      page.close();
    }
  };
}
