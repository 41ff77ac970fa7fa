import { isAscii, isUtf8 } from 'node:buffer';
import { bytesHaveWord, hasWord, WORD_OVERLAP } from './disarm-word.js';

/**
 * Reads frames of apps (RFC 6455, 5), as far as there is time. Only the message in progress is kept, in one piece: it
 * takes no more memory than its bytes, however small its fragments. Every payload is searched for the word that frees
 * fingers as soon as its bytes are here, before anything else is done with it.
 */

export const OPCODE = { continuation: 0, text: 1, binary: 2, close: 8, ping: 9, pong: 10 } as const;

/** WebSocket close codes (RFC 6455, 7.4.1, and the IANA registry). */
export const CLOSE = {
  normal: 1000,
  goingAway: 1001,
  protocol: 1002,
  noStatus: 1005,
  badData: 1007,
  policy: 1008,
  tooBig: 1009,
  tryAgainLater: 1013,
} as const;

/** A whole message of an app. */
export interface Incoming {
  /** Undefined when it was binary. */
  readonly text: string | undefined;
  /** Of its payload. */
  readonly bytes: number;
  /** It contains the word that frees fingers. */
  readonly hasWord: boolean;
}

export interface FrameSink {
  message(message: Incoming): void;
  /**
   * The word is in something that is not a whole message.
   * @param final it never will be: it is part of a message that is too large, of a control frame, or of no frame at all
   */
  word(final: boolean): void;
  ping(payload: Buffer): void;
  pong(payload: Buffer): void;
  /** The peer closes. */
  close(code: number, reason: string): void;
  /**
   * The bytes cannot be accepted. From then on they are only searched for the word.
   * @param bytes of the message, as far as that is known
   */
  fault(code: number, reason: string, bytes: number): void;
}

const FIN = 0x80;
const RESERVED = 0x70;
const MASKED = 0x80;
const LONGEST_CONTROL = 125;
const HEADER_START = 2;
const MASK_BYTES = 4;
const LEAST_KEPT = 1024;
const NOTHING = Buffer.alloc(0);

/** Payloads are unmasked into this, one piece at a time. */
const piece = Buffer.alloc(16 * 1024);
/** Four bytes at a time are quicker from so many on. */
const WORTH_A_VIEW = 256;
const pieceView = new DataView(piece.buffer, piece.byteOffset, piece.length);

export class FrameReader {
  readonly #header = new Uint8Array(HEADER_START + 8 + MASK_BYTES);
  readonly #view = new DataView(this.#header.buffer);
  #headerBytes = 0;
  #headerNeeds = HEADER_START;
  /** Of the frame. */
  #opcode = 0;
  #fin = false;
  #left = 0;
  #read = 0;
  readonly #control = Buffer.alloc(LONGEST_CONTROL);
  /** Of the message: its opcode (0: none), its bytes in all frames so far, and those that were kept. */
  #message = 0;
  #messageBytes = 0;
  #kept = NOTHING;
  #keptBytes = 0;
  #hasWord = false;
  /** Its last bytes: the word may continue in the next ones. */
  #tail = '';
  #tooBig = false;
  #broken = false;

  constructor(
    readonly maxMessageBytes: number,
    readonly sink: FrameSink,
  ) {}

  /** Bytes kept of an incomplete message. */
  get keeps(): number {
    return this.#kept.length;
  }

  /**
   * Reads on. @param maxFrames stops after this many
   * @returns where it stopped: `to`, unless there were more frames
   */
  read(bytes: Buffer, from: number, to: number, maxFrames: number): number {
    let at = from;
    for (let frames = 0; at < to && frames < maxFrames && !this.#broken; ) {
      if (this.#headerBytes < this.#headerNeeds) {
        this.#header[this.#headerBytes++] = bytes[at++];
        if (this.#headerBytes === HEADER_START) this.#beginHeader();
        if (this.#headerBytes < this.#headerNeeds || this.#broken) continue;
        this.#beginFrame();
      } else {
        const length = Math.min(this.#left, to - at, piece.length);
        this.#unmask(bytes, at, length);
        at += length;
        this.#takePiece(length);
      }
      if (this.#left > 0) continue;
      frames++;
      this.#headerBytes = 0;
      this.#headerNeeds = HEADER_START;
      this.#endFrame();
    }
    if (!this.#broken) return at;
    // Not frames any more, but there may still be a disarm in it.
    this.#lookThrough(bytes.subarray(at, to));
    if (this.#hasWord) {
      this.#hasWord = false;
      this.#tail = '';
      this.sink.word(true);
    }
    return to;
  }

  #beginHeader(): void {
    const [first, second] = this.#header;
    const fault = this.#faultOf(first, second);
    if (fault !== undefined) {
      this.#fail(CLOSE.protocol, fault);
      return;
    }
    const short = second & 0x7f;
    this.#headerNeeds = HEADER_START + (short === 126 ? 2 : short === 127 ? 8 : 0) + MASK_BYTES;
  }

  #faultOf(first: number, second: number): string | undefined {
    const opcode = first & 15;
    const isControl = opcode >= OPCODE.close;
    if ((first & RESERVED) !== 0) return 'a reserved bit is set';
    if ((second & MASKED) === 0) return 'a frame is not masked';
    if (opcode > OPCODE.pong || (opcode > OPCODE.binary && !isControl))
      return `opcode ${opcode} is not known`;
    if (isControl) {
      if ((first & FIN) === 0) return 'a control frame is fragmented';
      if ((second & 0x7f) > LONGEST_CONTROL) return 'a control frame is too long';
    } else if (opcode === OPCODE.continuation) {
      if (this.#message === 0) return 'no message is there to go on with';
    } else if (this.#message !== 0) return 'a message begins inside another';
    return undefined;
  }

  #beginFrame(): void {
    const [first, second] = this.#header;
    const short = second & 0x7f;
    this.#opcode = first & 15;
    this.#fin = (first & FIN) !== 0;
    this.#read = 0;
    this.#left = short;
    if (short === 126) this.#left = this.#view.getUint16(HEADER_START);
    // Beyond 2^53 it is too much in any case.
    else if (short === 127) this.#left = Number(this.#view.getBigUint64(HEADER_START));
    if (this.#opcode >= OPCODE.close) return;
    if (this.#opcode !== OPCODE.continuation) {
      this.#message = this.#opcode;
      this.#messageBytes = 0;
      this.#hasWord = false;
      this.#tail = '';
    }
    this.#messageBytes += this.#left;
    if (this.#messageBytes <= this.maxMessageBytes || this.#tooBig) return;
    this.#tooBig = true;
    this.#forget();
    if (this.#hasWord) this.sink.word(true);
    this.sink.fault(CLOSE.tooBig, 'the message is too large', this.#messageBytes);
  }

  #unmask(bytes: Buffer, at: number, length: number): void {
    const header = this.#header;
    const maskAt = this.#headerNeeds - MASK_BYTES;
    const read = this.#read;
    let i = 0;
    if (length >= WORTH_A_VIEW) {
      const from = new DataView(bytes.buffer, bytes.byteOffset + at, length);
      const mask = [0, 1, 2, 3].reduce((word, k) => (word << 8) | header[maskAt + ((read + k) & 3)], 0);
      for (; i + 3 < length; i += 4) pieceView.setInt32(i, from.getInt32(i) ^ mask);
    }
    for (; i < length; i++) piece[i] = bytes[at + i] ^ header[maskAt + ((read + i) & 3)];
    this.#read += length;
    this.#left -= length;
  }

  #takePiece(length: number): void {
    if (this.#opcode >= OPCODE.close) {
      piece.copy(this.#control, this.#read - length, 0, length);
      return;
    }
    const hadWord = this.#hasWord;
    this.#lookThrough(piece.subarray(0, length));
    const found = this.#hasWord && !hadWord;
    if (this.#tooBig) {
      if (found) this.sink.word(true);
      return;
    }
    // Most messages are whole in one piece, and are taken from there.
    const isWhole = this.#fin && this.#left === 0 && this.#keptBytes === 0;
    if (!isWhole) {
      if (found) this.sink.word(false);
      this.#keep(length);
    }
  }

  #keep(length: number): void {
    const needed = this.#keptBytes + length;
    if (needed > this.#kept.length) {
      const size = Math.min(this.maxMessageBytes, Math.max(LEAST_KEPT, needed, 2 * this.#kept.length));
      const larger = Buffer.allocUnsafeSlow(size);
      this.#kept.copy(larger, 0, 0, this.#keptBytes);
      this.#kept = larger;
    }
    piece.copy(this.#kept, this.#keptBytes, 0, length);
    this.#keptBytes = needed;
  }

  #forget(): void {
    this.#kept = NOTHING;
    this.#keptBytes = 0;
  }

  #lookThrough(bytes: Buffer): void {
    if (this.#hasWord) return;
    this.#hasWord = bytesHaveWord(bytes);
    const isWhole = this.#fin && this.#left === 0 && this.#tail === '';
    if (this.#hasWord || isWhole) return;
    // It may have begun in what came before, or go on in what comes.
    const { length } = bytes;
    if (this.#tail !== '') this.#hasWord = hasWord(this.#tail + bytes.toString('latin1', 0, WORD_OVERLAP));
    const end = bytes.toString('latin1', Math.max(0, length - WORD_OVERLAP));
    this.#tail = (this.#tail + end).slice(-WORD_OVERLAP);
  }

  #endFrame(): void {
    if (this.#opcode >= OPCODE.close) this.#endControl();
    else if (this.#fin) this.#endMessage();
  }

  #endMessage(): void {
    const bytes = this.#messageBytes;
    const isText = this.#message === OPCODE.text;
    const data = this.#keptBytes > 0 ? this.#kept.subarray(0, this.#keptBytes) : piece.subarray(0, bytes);
    this.#message = 0;
    if (this.#tooBig) return;
    if (isText && !isUtf8(data)) {
      if (this.#hasWord) this.sink.word(true);
      this.#fail(CLOSE.badData, 'a text is not UTF-8');
      return;
    }
    const text = isText ? data.toString(isAscii(data) ? 'latin1' : 'utf8') : undefined;
    this.#forget();
    this.sink.message({ text, bytes, hasWord: this.#hasWord });
  }

  #endControl(): void {
    const payload = Buffer.from(this.#control.subarray(0, this.#read));
    if (bytesHaveWord(payload)) this.sink.word(true);
    if (this.#opcode === OPCODE.ping) this.sink.ping(payload);
    else if (this.#opcode === OPCODE.pong) this.sink.pong(payload);
    else this.#endByClose(payload);
  }

  #endByClose(payload: Buffer): void {
    const code = payload.length >= 2 ? payload.readUInt16BE(0) : CLOSE.noStatus;
    const reason = payload.subarray(2);
    if (payload.length === 1 || (payload.length >= 2 && !mayBeSent(code))) {
      this.#fail(CLOSE.protocol, 'a close frame is malformed');
    } else if (!isUtf8(reason)) {
      this.#fail(CLOSE.badData, 'a reason is not UTF-8');
    } else {
      this.#break();
      this.sink.close(code, reason.toString());
    }
  }

  /** From here on there are only bytes, one piece after the other. */
  #break(): void {
    this.#broken = true;
    this.#fin = false;
    this.#tail = '';
    this.#hasWord = false;
    this.#forget();
  }

  #fail(code: number, reason: string): void {
    this.#break();
    this.sink.fault(code, reason, this.#messageBytes);
  }
}

/** RFC 6455, 7.4.2: some codes are for programs to tell themselves, and never sent. */
const mayBeSent = (code: number): boolean =>
  (code >= 1000 && code <= 1014 && (code < 1004 || code > 1006)) || (code >= 3000 && code <= 4999);
