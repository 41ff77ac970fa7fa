import { realpath } from 'node:fs/promises';
import { TautlineError } from '../errors.js';
import type { OpenPort } from './link.js';

/**
 * Which serial port belongs to which glove of this service: shared by all links, so that a glove that looks for
 * its port passes over those of the others.
 */
export interface TakenPorts {
  /** The owner of the port, if any. */
  ownerOf(path: string): Promise<string | undefined>;
  /** The profile names this port for that glove, present or not. */
  reserve(path: string, owner: string): void;
  /**
   * Takes the port; the returned function releases it.
   * @throws TautlineError portBusy when another has it
   */
  take(path: string, owner: string): Promise<() => void>;
}

/** A stable name and the device that it stands for are the same port. */
const deviceOf = (path: string): Promise<string> => realpath(path).catch(() => path);

export function createTakenPorts(): TakenPorts {
  const owners = new Map<string, string>();
  const reserved = new Map<string, string>();

  async function reservedBy(device: string): Promise<string | undefined> {
    for (const [path, owner] of reserved) if ((await deviceOf(path)) === device) return owner;
    return undefined;
  }

  return {
    async ownerOf(path) {
      const device = await deviceOf(path);
      return owners.get(device) ?? (await reservedBy(device));
    },
    reserve(path, owner) {
      reserved.set(path, owner);
    },
    async take(path, owner) {
      const device = await deviceOf(path);
      const other = await reservedBy(device);
      // No await between checking and taking.
      const has = owners.get(device) ?? (other === owner ? undefined : other);
      if (has !== undefined) {
        throw new TautlineError(
          'portBusy',
          `${path} belongs to the ${has} glove of this service.`,
          'Give each glove a port of its own in the profile.',
        );
      }
      owners.set(device, owner);
      return () => {
        if (owners.get(device) === owner) owners.delete(device);
      };
    },
  };
}

/** The same port, taken for as long as it is open. */
export function takingPort(path: string, owner: string, taken: TakenPorts, open: OpenPort): OpenPort {
  return async (events, abandoned) => {
    const giveBack = await taken.take(path, owner);
    try {
      const port = await open(
        {
          bytes: events.bytes,
          ended(error) {
            giveBack();
            events.ended(error);
          },
        },
        abandoned,
      );
      return {
        address: port.address,
        write: (bytes, urgent) => port.write(bytes, urgent),
        close: () => port.close().finally(giveBack),
      };
    } catch (cause) {
      giveBack();
      throw cause;
    }
  };
}
