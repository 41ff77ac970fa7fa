import { type ReadonlySignal, useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { themeChanged } from './theme.js';

/** Another value whenever the colours change: for what is not drawn by style. */
export function useTheme(): ReadonlySignal<number> {
  const changes = useSignal(0);
  useEffect(
    () =>
      themeChanged.on(() => {
        changes.value++;
      }),
    [],
  );
  return changes;
}
