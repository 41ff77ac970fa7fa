import type { ComponentChildren } from 'preact';
import { useErrorBoundary } from 'preact/hooks';

/** What goes wrong in a component in here stays in here, and is said in its place. The rest of the page goes on. */
export function Guarded({ what, children }: { what: string; children: ComponentChildren }) {
  const [error, again] = useErrorBoundary((thrown) => reportError(thrown));
  if (error === undefined) return <>{children}</>;
  return <Failed what={what} error={error} again={again} />;
}

export function Failed({ what, error, again }: { what: string; error: unknown; again?: () => void }) {
  return (
    <div class="card bad failed" role="alert">
      <p>
        <strong>{`${what} cannot be shown: ${messageOf(error)}.`}</strong>
      </p>
      <p>Disarm and Escape work as ever. A reload of the page may help; if not, this is a fault of ours.</p>
      {again && (
        <div class="actions">
          <button type="button" onClick={again}>
            Try again
          </button>
        </div>
      )}
    </div>
  );
}

const messageOf = (error: unknown): string =>
  (error instanceof Error ? error.message : String(error)).replace(/\.$/, '');
