import { open } from 'node:fs/promises';

/** What a library is built for, by the first bytes of its file. */
export type BuiltFor = 'linux-x64' | 'linux-arm64' | 'win32-x64' | 'win32-arm64' | 'win32-ia32' | 'unknown';

const HEAD_BYTES = 4096;
/** ELF: e_machine at 18 (System V ABI, generic; numbers of its processor supplements). */
const ELF_MACHINES: Record<number, BuiltFor> = { 62: 'linux-x64', 183: 'linux-arm64' };
/** PE: Machine behind the signature, which is where the u32 at 0x3c says (Microsoft's PE/COFF specification). */
const PE_MACHINES: Record<number, BuiltFor> = {
  34404: 'win32-x64',
  43620: 'win32-arm64',
  332: 'win32-ia32',
};

/** @returns undefined when the file is not there, or may not be read */
export async function libraryBuiltFor(path: string): Promise<BuiltFor | undefined> {
  const file = await open(path).catch(() => undefined);
  if (!file) return undefined;
  try {
    const { buffer, bytesRead } = await file.read(Buffer.alloc(HEAD_BYTES), 0, HEAD_BYTES, 0);
    return builtFor(buffer.subarray(0, bytesRead));
  } catch {
    return undefined;
  } finally {
    await file.close();
  }
}

export function builtFor(head: Buffer): BuiltFor {
  if (head.length >= 64 && head.readUInt32BE(0) === 0x7f454c46) {
    // 64 bits, little-endian.
    return head[4] === 2 && head[5] === 1 ? (ELF_MACHINES[head.readUInt16LE(18)] ?? 'unknown') : 'unknown';
  }
  if (head.length >= 64 && head.toString('latin1', 0, 2) === 'MZ') {
    const at = head.readUInt32LE(0x3c);
    if (at + 6 <= head.length && head.toString('latin1', at, at + 4) === 'PE\0\0') {
      return PE_MACHINES[head.readUInt16LE(at + 4)] ?? 'unknown';
    }
  }
  return 'unknown';
}
