/**
 * glTF 2.0 in one binary file (GLB): a JSON chunk and a buffer. Only what animated trees of nodes and skins need.
 * Layout: Khronos, glTF 2.0 specification, section 4 (GLB) and 3.6 (accessors).
 */
export interface GlbBuilder {
  readonly json: Gltf;
  /** Adds numbers to the buffer; returns the number of the accessor. */
  floats(values: Float32Array, type: 'SCALAR' | 'VEC3' | 'VEC4' | 'MAT4', target?: number): number;
  bytes(values: Uint8Array, type: 'VEC4', target: number): number;
  indices(values: Uint16Array): number;
  /** The whole file. */
  build(): Uint8Array;
}

export interface Gltf {
  asset: { version: '2.0'; generator: string; extras?: object };
  scene: number;
  scenes: { name?: string; nodes: number[] }[];
  nodes: object[];
  meshes: object[];
  materials: object[];
  skins?: object[];
  animations?: object[];
  accessors: object[];
  bufferViews: object[];
  buffers: { byteLength: number }[];
}

const FLOAT = 5126;
const UNSIGNED_BYTE = 5121;
const UNSIGNED_SHORT = 5123;
export const ARRAY_BUFFER = 34962;
const ELEMENT_ARRAY_BUFFER = 34963;
const SIZE = { SCALAR: 1, VEC3: 3, VEC4: 4, MAT4: 16 } as const;
const GLB_MAGIC = 0x46546c67;
const JSON_CHUNK = 0x4e4f534a;
const BIN_CHUNK = 0x004e4942;

export function createGlb(generator: string): GlbBuilder {
  const pieces: Uint8Array[] = [];
  let length = 0;
  const json: Gltf = {
    asset: { version: '2.0', generator },
    scene: 0,
    scenes: [{ nodes: [] }],
    nodes: [],
    meshes: [],
    materials: [],
    accessors: [],
    bufferViews: [],
    buffers: [{ byteLength: 0 }],
  };

  function view(values: Float32Array | Uint16Array | Uint8Array, target: number | undefined): number {
    const bytes = new Uint8Array(values.buffer, values.byteOffset, values.byteLength);
    json.bufferViews.push({
      buffer: 0,
      byteOffset: length,
      byteLength: bytes.length,
      ...(target === undefined ? {} : { target }),
    });
    pieces.push(bytes);
    length += bytes.length;
    const padding = -length & 3;
    if (padding > 0) pieces.push(new Uint8Array(padding));
    length += padding;
    return json.bufferViews.length - 1;
  }

  return {
    json,
    floats(values, type, target) {
      const size = SIZE[type];
      const min = new Array<number>(size).fill(Number.POSITIVE_INFINITY);
      const max = new Array<number>(size).fill(Number.NEGATIVE_INFINITY);
      for (let i = 0; i < values.length; i++) {
        min[i % size] = Math.min(min[i % size], values[i]);
        max[i % size] = Math.max(max[i % size], values[i]);
      }
      json.accessors.push({
        bufferView: view(values, target),
        componentType: FLOAT,
        count: values.length / size,
        type,
        min,
        max,
      });
      return json.accessors.length - 1;
    },
    bytes(values, type, target) {
      json.accessors.push({
        bufferView: view(values, target),
        componentType: UNSIGNED_BYTE,
        count: values.length / SIZE[type],
        type,
      });
      return json.accessors.length - 1;
    },
    indices(values) {
      json.accessors.push({
        bufferView: view(values, ELEMENT_ARRAY_BUFFER),
        componentType: UNSIGNED_SHORT,
        count: values.length,
        type: 'SCALAR',
      });
      return json.accessors.length - 1;
    },
    build() {
      json.buffers[0].byteLength = length;
      const text = new TextEncoder().encode(JSON.stringify(json));
      const textPadding = -text.length & 3;
      const total = 12 + 8 + text.length + textPadding + 8 + length;
      const out = new Uint8Array(total);
      const view = new DataView(out.buffer);
      let at = 0;
      const u32 = (value: number): void => {
        view.setUint32(at, value, true);
        at += 4;
      };
      u32(GLB_MAGIC);
      u32(2);
      u32(total);
      u32(text.length + textPadding);
      u32(JSON_CHUNK);
      out.set(text, at);
      out.fill(0x20, at + text.length, at + text.length + textPadding);
      at += text.length + textPadding;
      u32(length);
      u32(BIN_CHUNK);
      for (const piece of pieces) {
        out.set(piece, at);
        at += piece.length;
      }
      return out;
    },
  };
}
