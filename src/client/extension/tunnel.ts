import { SUBPROTOCOL_BINARY } from '../../protocol/constants.js';
import { permitted } from './filter.js';
import type { FromBridge, ToBridge } from './messages.js';

/** A page that has not taken this many records misses some: the newest that it can take comes next. */
const MOST_UNTAKEN = 24;

/** What the tunnel needs of a port. */
export interface TunnelPort {
  postMessage(message: ToBridge): void;
}

export interface Tunnel {
  receive(message: FromBridge): void;
  /** @param why told to the page; undefined: it has left */
  end(why?: string): void;
}

/** One connection to the service for one page. */
export function openTunnel(port: TunnelPort, url: string, site: string): Tunnel {
  let untaken = 0;
  let over = false;
  const socket = new WebSocket(url, SUBPROTOCOL_BINARY);
  socket.binaryType = 'arraybuffer';

  /** The page may have left before that is said. */
  const tell = (message: ToBridge): void => {
    try {
      port.postMessage(message);
    } catch {
      over = true;
      socket.close();
    }
  };
  const close = (code: number, reason: string): void => {
    if (over) return;
    over = true;
    tell({ closed: [code, reason] });
  };
  socket.onopen = () => tell({ opened: true });
  socket.onclose = ({ code, reason }) => close(code, reason);
  socket.onmessage = ({ data }: MessageEvent<string | ArrayBuffer>) => {
    if (over) return;
    if (typeof data === 'string') {
      tell({ text: data });
    } else if (untaken < MOST_UNTAKEN) {
      untaken++;
      tell({ record: base64Of(data) });
    }
  };
  return {
    receive(message) {
      if ('taken' in message) untaken = Math.max(0, untaken - message.taken);
      else {
        const text = permitted(message.text, site);
        if (text !== undefined && socket.readyState === WebSocket.OPEN) socket.send(text);
      }
    },
    end(why) {
      if (why === undefined) over = true;
      else close(4001, why);
      socket.close();
    },
  };
}

function base64Of(bytes: ArrayBuffer): string {
  return btoa(String.fromCharCode(...new Uint8Array(bytes)));
}
