import { afterAll, beforeAll, expect, it } from 'vitest';
import { openOnScreen } from './extension/dialogs.js';
import { openPopup, serveSite } from './extension/open.js';

/** What the browser itself asks when a site is switched on, answered by keys as a user answers it. */
let browser: Awaited<ReturnType<typeof openOnScreen>>;
let site: Awaited<ReturnType<typeof serveSite>>;
beforeAll(async () => {
  [browser, site] = await Promise.all([openOnScreen(), serveSite()]);
}, 240_000);
afterAll(async () => {
  await browser?.close();
  site?.server.close();
});

interface ExtensionApi {
  permissions: { contains(what: { origins: string[] }): Promise<boolean> };
  scripting: { getRegisteredContentScripts(): Promise<{ matches?: string[] }[]> };
}
/** What the browser says that the extension may, and which pages get its scripts. */
const permitted = () =>
  browser.worker.evaluate(async (origin) => {
    const { permissions, scripting } = (globalThis as unknown as { chrome: ExtensionApi }).chrome;
    const scripts = await scripting.getRegisteredContentScripts();
    return {
      here: await permissions.contains({ origins: [`${origin}/*`] }),
      elsewhere: await permissions.contains({ origins: ['https://example.com/*'] }),
      pages: [...new Set(scripts.flatMap(({ matches = [] }) => matches))],
    };
  }, site.origin);
const nothing = { here: false, elsewhere: false, pages: [] };

it('is refused: the site stays off; granted: it is on, there alone; switched off: the browser has it back', async () => {
  const page = await browser.context.newPage();
  await page.goto(`${site.origin}/world`);
  const popup = await openPopup(browser, page);
  const pressed = () => popup.getAttribute('#switch', 'aria-pressed');
  /** The dialog is there some time after the press; keys that come too early are the page's. */
  const answer = async (keys: string[], wanted: RegExp) => {
    await popup.click('#switch');
    await new Promise((resolve) => setTimeout(resolve, 2000));
    await expect
      .poll(
        async () => {
          const said = await popup.textContent('#site-note');
          if (!wanted.test(said ?? '')) browser.press(...keys);
          return said;
        },
        { timeout: 30_000, interval: 2500 },
      )
      .toMatch(wanted);
  };
  expect(await permitted()).toEqual(nothing);

  await answer(['Escape'], /^Off\. Without the permission/);
  expect(await pressed()).toBe('false');
  expect(await permitted()).toEqual(nothing);

  await answer(['Tab', 'Return'], /^On\./);
  expect(await pressed()).toBe('true');
  expect(await permitted()).toEqual({ here: true, elsewhere: false, pages: [`${site.origin}/*`] });

  await popup.click('#switch');
  await expect.poll(permitted, { timeout: 20_000 }).toEqual(nothing);
  expect(await pressed()).toBe('false');
}, 120_000);
