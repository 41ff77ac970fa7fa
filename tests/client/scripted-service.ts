import { once } from 'node:events';
import type { AddressInfo } from 'node:net';
import { type WebSocket, WebSocketServer } from 'ws';

/** What an app sent. */
export interface Asked {
  type: string;
  id?: number;
  layer?: string;
  ttlMs?: number;
  effort?: number;
  fingers?: { index?: { stopAt: number } };
}
export interface ServiceRefusal {
  code: string;
  message: string;
  path?: string;
}

/** Stands in for a service whose wearer, and whose answers, are the test's to say. Answers come in the order of the requests. */
export async function scriptedService() {
  const server = new WebSocketServer({
    port: 0,
    host: '127.0.0.1',
    handleProtocols: (offered) => [...offered][0],
    verifyClient: () => rules.connected,
  });
  await once(server, 'listening');
  const rules = {
    connected: true,
    armed: false,
    delayMs: 0,
    /** Of a `touch` or `resist` while it is armed; undefined: it is taken. */
    refusal: (_request: Asked): ServiceRefusal | undefined => undefined,
    limited: undefined as string | undefined,
  };
  const asked: (Asked & { atMs: number })[] = [];
  const answerTo = (request: Asked): object => {
    const { id, type } = request;
    const holds = type === 'touch' || type === 'resist';
    const disarmed = { code: 'disarmed', message: 'The glove is disarmed; the wearer must arm it first.' };
    const refusal = !holds
      ? undefined
      : !rules.armed && request.effort !== 0
        ? disarmed
        : rules.refusal(request);
    return refusal
      ? { type: 'error', id, ...refusal }
      : { type: 'ack', id, for: type, timeUs: 0, ...(holds && { limited: rules.limited }) };
  };
  server.on('connection', (socket: WebSocket) => {
    const hands = [{ hand: 'right', name: 'scripted', armed: rules.armed, howToArm: 'ask the test' }];
    socket.send(
      JSON.stringify({ type: 'welcome', server: { name: 'tautline', version: '0' }, app: 'app7', hands }),
    );
    const waiting: { text: string; dueMs: number }[] = [];
    const answer = () => {
      const { text } = waiting.shift()!;
      socket.send(text);
      if (waiting.length > 0) setTimeout(answer, Math.max(0, waiting[0].dueMs - performance.now()));
    };
    socket.on('message', (data) => {
      const request: Asked = JSON.parse(data.toString());
      asked.push({ ...request, atMs: performance.now() });
      waiting.push({
        text: JSON.stringify(answerTo(request)),
        dueMs: performance.now() + rules.delayMs,
      });
      if (waiting.length === 1) setTimeout(answer, rules.delayMs);
    });
    socket.on('error', () => {});
  });
  return {
    url: `ws://127.0.0.1:${(server.address() as AddressInfo).port}/stream`,
    rules,
    asked,
    /** Says to every app what the wearer did, and cuts every connection if there is to be none. */
    apply(changes: Partial<typeof rules>): void {
      const told = changes.armed !== undefined && changes.armed !== rules.armed;
      Object.assign(rules, changes);
      for (const socket of server.clients) {
        if (!rules.connected) socket.terminate();
        else if (told) {
          socket.send(
            JSON.stringify({
              type: 'resistance',
              hand: 'right',
              timeUs: 0,
              armed: rules.armed,
              fingers: {},
            }),
          );
        }
      }
    },
    close() {
      for (const socket of server.clients) socket.terminate();
      server.close();
    },
  };
}
