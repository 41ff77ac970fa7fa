import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { isLoopback, parseAddress, urlHost } from '../config/address.js';
import { TautlineError } from '../errors.js';
import type { SeenStation } from './stations.js';

/** The stations as a page and as JSON, for this machine alone. */

export interface StationsServer {
  /** `http://127.0.0.1:7118/` */
  readonly address: string;
  close(): Promise<void>;
}

const PORT = 7118;

/**
 * @param trouble what keeps us from the broker
 * @throws TautlineError when the address cannot be used
 */
export async function serveStations(
  listen: string,
  list: () => SeenStation[],
  trouble: () => string | undefined,
): Promise<StationsServer> {
  const { host = '127.0.0.1', port = PORT } = parseAddress(listen) ?? {
    host: undefined,
    port: undefined,
  };
  if (parseAddress(listen) === undefined || !isLoopback(host)) {
    throw new TautlineError(
      'addressNotAllowed',
      `--listen ${listen}: the page is for this machine alone.`,
      'Write such as 127.0.0.1:7118; for others, put a proxy that asks who they are in front of it.',
    );
  }
  const server = createServer((request, response) => {
    const send = (code: number, type: string, body: string): void => {
      response.writeHead(code, {
        'content-type': `${type}; charset=utf-8`,
        'cache-control': 'no-store',
        'x-content-type-options': 'nosniff',
        'content-security-policy': `default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; connect-src 'self'`,
      });
      response.end(request.method === 'HEAD' ? undefined : body);
    };
    // A page of elsewhere must not read it by giving its own name this address.
    const named = parseAddress(request.headers.host ?? '')?.host ?? '';
    if (!isLoopback(named)) send(403, 'text/plain', 'Only by the name of this machine itself.\n');
    else if (request.method !== 'GET' && request.method !== 'HEAD')
      send(405, 'text/plain', 'There is nothing to do.\n');
    else if (request.url === '/stations.json') {
      send(200, 'application/json', JSON.stringify({ trouble: trouble(), stations: list() }));
    } else if (request.url === '/') send(200, 'text/html', PAGE);
    else send(404, 'text/plain', 'The page is at /, and the numbers at /stations.json.\n');
  });
  await new Promise<void>((resolve, reject) => {
    server.once('error', (error: NodeJS.ErrnoException) => {
      const why = error.code === 'EADDRINUSE' ? 'another program listens there' : error.message;
      reject(new TautlineError('addressInUse', `--listen ${listen}: ${why}.`, 'Choose another port.'));
    });
    server.listen(port, host, resolve);
  });
  const { port: given } = server.address() as AddressInfo;
  return {
    address: `http://${urlHost(host)}:${given}/`,
    close: () =>
      new Promise((resolve) => {
        server.close(() => resolve());
        server.closeAllConnections();
      }),
  };
}

/** What stations say is put in as text, never as markup. */
const PAGE = `<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>Stations</title>
<style>
  :root { color-scheme: light dark; font: 16px/1.4 system-ui, sans-serif; }
  body { margin: 1.5rem; }
  table { border-collapse: collapse; width: 100%; }
  th, td { text-align: left; padding: .3rem .8rem .3rem 0; border-bottom: 1px solid #8884; vertical-align: top; }
  td.number { font-variant-numeric: tabular-nums; }
  tr.off { opacity: .55; }
  .wrong { font-weight: 600; }
  #trouble:not(:empty) { border-left: .3rem solid; padding-left: .6rem; }
</style>
<h1>Stations</h1>
<p id="sum" role="status"></p>
<p id="trouble" role="alert"></p>
<table>
  <thead><tr><th scope="col">Site</th><th scope="col">Station</th><th scope="col">State</th><th scope="col">Hand</th><th scope="col">Glove</th><th scope="col">Link</th><th scope="col">Rate</th><th scope="col">Battery</th><th scope="col">Firmware</th><th scope="col">Trouble</th></tr></thead>
  <tbody id="rows"></tbody>
</table>
<script>
  const QUIET_MS = 20000;
  const cell = (text, name) => {
    const td = document.createElement('td');
    td.textContent = text ?? '';
    if (name) td.className = name;
    return td;
  };
  function draw({ stations, trouble }) {
    const on = stations.filter(({ status }) => status.online).length;
    document.getElementById('sum').textContent = stations.length + ' stations, ' + on + ' on line';
    document.getElementById('trouble').textContent = trouble ?? '';
    const rows = [];
    for (const { site, station, status, heardMs } of stations) {
      const state = !status.online ? 'off line' : Date.now() - heardMs > QUIET_MS ? 'quiet' : 'on line';
      for (const glove of status.gloves.length > 0 ? status.gloves : [undefined]) {
        const row = document.createElement('tr');
        if (!status.online) row.className = 'off';
        row.append(cell(site), cell(station), cell(state));
        if (glove) {
          const { hand, name, link, armed, rateHz, batteryMv, firmwareVersion, troubles } = glove;
          const says = troubles.map((each) => each.says).join(' ');
          row.append(
            cell(armed ? hand + ' (armed)' : hand), cell(name), cell(link),
            cell(rateHz.toFixed(0) + ' Hz', 'number'),
            cell(batteryMv === undefined ? '' : (batteryMv / 1000).toFixed(2) + ' V', 'number'),
            cell(firmwareVersion === undefined ? '' : String(firmwareVersion), 'number'),
            cell(says, troubles.some(({ state }) => state === 'wrong') ? 'wrong' : ''),
          );
        } else for (let i = 0; i < 7; i++) row.append(cell(''));
        rows.push(row);
      }
    }
    document.getElementById('rows').replaceChildren(...rows);
  }
  async function look() {
    try {
      draw(await (await fetch('/stations.json')).json());
    } catch {
      document.getElementById('trouble').textContent = 'The program behind this page has ended.';
    }
    setTimeout(look, 1000);
  }
  look();
</script>
</html>
`;
