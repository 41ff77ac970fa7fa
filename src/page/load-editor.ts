export type EditorModule = typeof import('./parts/profile-editor.js');

/** The file of the editor did not come. */
export class EditorNotLoaded extends Error {
  override readonly message =
    'The editor could not be loaded: the service may have stopped, or been updated since this page was opened. If trying again does not help, reload the page.';
}

const load = (): Promise<EditorModule> => import('./parts/profile-editor.js');
let failures = 0;

/**
 * The editor, a file of its own. A browser may remember that a file did not come, and never ask for it again: after a
 * failure it is asked for under another address.
 *
 * @throws EditorNotLoaded
 */
export async function loadEditor(): Promise<EditorModule> {
  // The name that the file was given when the page was built stands nowhere else.
  const file = failures > 0 ? /import\(\s*["'`](.+?)["'`]\s*\)/.exec(String(load))?.[1] : undefined;
  try {
    if (file === undefined) return await load();
    return (await import(new URL(`${file}?again=${failures}`, import.meta.url).href)) as EditorModule;
  } catch (error) {
    failures++;
    throw new EditorNotLoaded('', { cause: error });
  }
}
