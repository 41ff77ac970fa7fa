import { connect } from '../client.js';
import { takeOver } from './sessions.js';
import { TunnelSocket } from './tunnel-socket.js';

/** In the page's own world: its sessions get gloves, by the adapter that every page can use (../webxr.ts). */

const MARK = Symbol.for('tautline.gloves');
const world = window as { [MARK]?: true };
if (!world[MARK]) {
  Object.defineProperty(world, MARK, { value: true });
  const look = (): void => {
    const { xr } = navigator as { xr?: Parameters<typeof takeOver>[0] };
    if (xr) takeOver(xr, () => connect({ WebSocket: TunnelSocket, rateHz: 120 }));
  };
  look();
  // A page may bring its own `navigator.xr`, late. A session begins with a press; so look once more right before.
  for (const type of ['DOMContentLoaded', 'load', 'pointerdown', 'keydown', 'click']) {
    window.addEventListener(type, look, { capture: true });
  }
}
