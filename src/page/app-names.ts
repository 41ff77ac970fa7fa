import { ask } from './routes.js';

/** Shortest time between two requests for the names of unnamed apps. */
const AGAIN_MS = 2000;

/** Names that apps gave themselves, by the ids in the stream. Fetched when an id is new. */
export function createAppNames(): (app: string) => string {
  const names = new Map<string, string>();
  let askedMs = Number.NEGATIVE_INFINITY;
  return (app) => {
    const known = names.get(app);
    if (known === undefined && performance.now() - askedMs > AGAIN_MS) {
      askedMs = performance.now();
      ask<{ apps: { app: string; name?: string }[] }>('GET', '/health').then(
        ({ apps }) => {
          names.clear();
          for (const { app, name } of apps) if (name !== undefined) names.set(app, name);
        },
        () => {},
      );
    }
    return known ?? app;
  };
}
