declare module 'gltf-validator' {
  export function validateBytes(bytes: Uint8Array): Promise<{
    issues: { numErrors: number; numWarnings: number; messages: unknown[] };
    info: Record<string, unknown>;
  }>;
}
