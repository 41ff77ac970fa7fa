import { WebSocket } from 'ws';

/** Status of the handshake with a WebSocket's address: 101 when it opens, which is all that is wanted of it. */
export const handshakeStatus = (
  url: string,
  headers: Record<string, string> = {},
  protocols: string[] = [],
): Promise<number> =>
  new Promise((resolve, reject) => {
    const ws = new WebSocket(url, protocols, { headers });
    ws.on('open', () => {
      ws.terminate();
      resolve(101);
    });
    ws.on('unexpected-response', (_request, response) => {
      response.resume();
      ws.terminate();
      resolve(response.statusCode!);
    });
    ws.on('error', (error) => {
      if (!/closed before/.test(error.message)) reject(error);
    });
  });
