/** As much of the browser's interface for extensions as is used here (Chromium, Manifest V3). */

interface ChromeEvent<Listener> {
  addListener(listener: Listener): void;
}

interface ChromePort {
  readonly name: string;
  readonly sender?: { readonly origin?: string; readonly url?: string };
  readonly onMessage: ChromeEvent<(message: unknown) => void>;
  readonly onDisconnect: ChromeEvent<() => void>;
  postMessage(message: unknown): void;
  disconnect(): void;
}

interface ChromeTab {
  readonly id?: number;
  readonly url?: string;
}

interface ChromeContentScript {
  id: string;
  matches?: string[];
  js?: string[];
  world?: 'MAIN' | 'ISOLATED';
  runAt?: 'document_start';
  allFrames?: boolean;
}

interface ChromeOrigins {
  origins?: string[];
}

declare const chrome: {
  readonly runtime: {
    readonly onConnect: ChromeEvent<(port: ChromePort) => void>;
    readonly onMessage: ChromeEvent<
      (
        message: unknown,
        sender: { readonly origin?: string; readonly url?: string },
        answer: (answer: unknown) => void,
      ) => boolean | undefined
    >;
    connect(info: { name: string }): ChromePort;
    sendMessage<T>(message: unknown): Promise<T>;
    getURL(path: string): string;
  };
  readonly storage: {
    readonly local: {
      get(keys: string[]): Promise<Record<string, unknown>>;
      set(items: Record<string, unknown>): Promise<void>;
      remove(keys: string[]): Promise<void>;
      setAccessLevel(level: { accessLevel: 'TRUSTED_CONTEXTS' }): Promise<void>;
    };
  };
  readonly scripting: {
    getRegisteredContentScripts(filter: { ids: string[] }): Promise<ChromeContentScript[]>;
    registerContentScripts(scripts: ChromeContentScript[]): Promise<void>;
    updateContentScripts(scripts: ChromeContentScript[]): Promise<void>;
    unregisterContentScripts(filter: { ids: string[] }): Promise<void>;
    executeScript(injection: {
      target: { tabId: number; allFrames: boolean };
      files: string[];
      world: 'MAIN' | 'ISOLATED';
      injectImmediately: boolean;
    }): Promise<unknown>;
  };
  readonly permissions: {
    readonly onRemoved: ChromeEvent<(permissions: ChromeOrigins) => void>;
    request(permissions: ChromeOrigins): Promise<boolean>;
    remove(permissions: ChromeOrigins): Promise<boolean>;
    contains(permissions: ChromeOrigins): Promise<boolean>;
  };
  readonly tabs: {
    query(filter: { active: boolean; currentWindow: boolean }): Promise<ChromeTab[]>;
    create(tab: { url: string }): Promise<unknown>;
  };
  readonly windows: {
    create(window: { url: string; type: 'popup'; width: number; height: number }): Promise<unknown>;
  };
};
