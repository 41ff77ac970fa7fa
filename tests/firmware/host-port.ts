import { SerialPort } from 'serialport';
import type { DeviceState, GloveCodec, Hello, Pong } from '../../src/link/codec.js';
import { createFrameCodec } from '../../src/link/frames.js';

interface Sample {
  deviceTimeUs: number;
  buttons: number;
  counts: number[];
}
interface Messages {
  hello: Hello;
  sample: Sample;
  state: DeviceState;
  pong: Pong;
  note: string;
}

/** A host at the other end of the terminal: the real port and the real codec. */
export class Host {
  readonly codec: GloveCodec;
  private waiting: { kind: string; accept: (value: never) => boolean; resolve: (value: never) => void }[] =
    [];

  private constructor(private readonly port: SerialPort) {
    this.codec = createFrameCodec({
      hello: (hello) => this.arrived('hello', hello),
      samples: (s) =>
        this.arrived('sample', {
          deviceTimeUs: s.deviceTimeUs,
          buttons: s.buttons,
          counts: [...s.channels.subarray(0, s.channelCount)],
        }),
      state: (state) => this.arrived('state', state),
      pong: (pong) => this.arrived('pong', pong),
      note: (text) => this.arrived('note', text),
    });
    port.on('data', (chunk: Buffer) => this.codec.push(chunk));
  }

  static open(path: string): Promise<Host> {
    return new Promise((resolve, reject) => {
      const port = new SerialPort({ path, baudRate: 115200, lock: false }, (error) =>
        error ? reject(error) : resolve(new Host(port)),
      );
    });
  }

  /** Resolves once the system has taken the bytes. */
  send(bytes: Uint8Array): Promise<void> {
    return new Promise((resolve) => this.port.write(Buffer.from(bytes), () => resolve()));
  }

  /** The next message of a kind that is accepted. */
  next<K extends keyof Messages>(kind: K, accept: (value: Messages[K]) => boolean = () => true) {
    return new Promise<Messages[K]>((resolve) => this.waiting.push({ kind, accept, resolve }));
  }

  close(): Promise<void> {
    return new Promise((resolve) => this.port.close(() => resolve()));
  }

  private arrived<K extends keyof Messages>(kind: K, value: Messages[K]): void {
    for (const wait of this.waiting.filter((entry) => entry.kind === kind && entry.accept(value as never))) {
      this.waiting.splice(this.waiting.indexOf(wait), 1);
      wait.resolve(value as never);
    }
  }
}
