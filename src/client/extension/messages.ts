/**
 * What the parts of the extension say to each other.
 *
 *   page.ts ── MessagePort ── bridge.ts ── chrome port ── worker.ts ── WebSocket ── the service
 *   (the page's own world)    (isolated)                  (extension)
 *
 * A page can forge whatever page.ts says. So the worker decides alone what goes to the service: see filter.ts.
 */

/** Name of the port between bridge and worker. */
export const PORT_NAME = 'gloves';

/** With it, the page hands the bridge one end of a channel. */
export const OPEN_KEY = 'tautlineGloves';

/** To the page, besides texts and records (ArrayBuffer). */
export type ToPage = { opened: true } | { closed: readonly [code: number, reason: string] };
/** From the page, besides texts. */
export interface FromPage {
  close: true;
}

/** To the bridge. The browser turns what passes here into JSON: records go as base64. */
export type ToBridge = { text: string } | { record: string } | ToPage;
/** From the bridge: a text of the page, or how many records it has passed on. */
export type FromBridge = { text: string } | { taken: number };

/** From the windows of the extension to its worker. */
export type ToWorker = { sites: true } | { site: string; on: boolean };
