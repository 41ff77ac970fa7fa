import type { FastifyInstance } from 'fastify';
import { listPorts, type PortInfo } from '../link/list-ports.js';
import { findHolders } from '../link/port-holders.js';

/** What GET /ports answers: the serial ports of this machine. */
export interface PortsAnswer {
  ports: (PortInfo & { heldBy: readonly string[] })[];
}

/**
 *   GET /ports    serial ports of this machine, and who holds them: for the wearer's own tools, as it names devices
 */
export function addPortsRoute(app: FastifyInstance): void {
  app.get('/ports', async (request, reply) => {
    reply.header('cache-control', 'no-store');
    if (!request.wearer) {
      const message = 'This is for the page and the command line of the wearer alone.';
      return reply.code(403).send({ code: 'notPermitted', message });
    }
    const found = await listPorts();
    const holders = await findHolders(found.map(({ path }) => path));
    const ports = found.map((port) => ({ ...port, heldBy: holders.get(port.path) ?? [] }));
    return { ports } satisfies PortsAnswer;
  });
}
