import { readFileSync } from 'node:fs';
import {
  AVRADC,
  AVRClock,
  AVRIOPort,
  AVRTimer,
  AVRUSART,
  AVRWatchdog,
  adcConfig,
  avrInstruction,
  CPU,
  clockConfig,
  PinState,
  portBConfig,
  portDConfig,
  timer1Config,
  usart0Config,
  watchdogConfig,
} from 'avr8js';

export const CLOCK_HZ = 16e6;
const CYCLES_PER_US = CLOCK_HZ / 1e6;
/** ATmega328P. */
const FLASH_BYTES = 32 * 1024;
const RAM_BYTES = 2 * 1024;
const IO_START = 0x20;
const RAM_START = 0x100;
export const SUPPLY_VOLTS = 5;
const RXC = 0x80;
const BITS_PER_BYTE = 10;
const SREG = 0x5f;
const INTERRUPT_FLAG = 0x80;
/** First word of a call with its 16-bit address in the second, and of an instruction that does nothing. */
const CALL = 0x940e;
const NOP = 0;
/** What the RAM holds before the program starts, so that it shows how far down the stack came. */
const PAINT = 0xc5;

export interface ChipEvents {
  /** A byte begins to leave the serial port. */
  transmitted(byte: number): void;
  /** A pulse on a pin of port B has ended. */
  pulse(pin: number, widthUs: number): void;
}

/** An ATmega328P at 16 MHz in simulation, instruction by instruction; its time is its own. */
export class AvrChip {
  readonly #cpu: CPU;
  readonly #adc: AVRADC;
  readonly #portD: AVRIOPort;
  readonly #usart: AVRUSART;
  readonly #riseCycle = new Float64Array(8);
  #incoming: number[] = [];
  #receiving = false;
  #lastByte = 0;
  #watchdogResetAtCycle = Number.NaN;
  #longestLoopCycles = 0;
  readonly #portB: AVRIOPort;
  /** How fast `send` feeds the line, bits a second; as the program set it if undefined. */
  baud: number | undefined;
  /** Bytes that came before the one ahead of them had been read. The real chip keeps one more than this one. */
  overruns = 0;

  /** @param hexPath the program, Intel HEX */
  constructor(hexPath: string, events: ChipEvents) {
    const cpu = new CPU(new Uint16Array(readHex(hexPath).buffer), RAM_BYTES);
    cpu.data.fill(PAINT, RAM_START);
    this.#cpu = cpu;
    this.#adc = new AVRADC(cpu, adcConfig);
    this.#adc.avcc = SUPPLY_VOLTS;
    this.#portD = new AVRIOPort(cpu, portDConfig);
    for (let pin = 0; pin < 8; pin++) this.#portD.setPin(pin, true);
    const timer = new AVRTimer(cpu, timer1Config);
    sparse(cpu, timer);
    new AVRWatchdog(cpu, watchdogConfig, new AVRClock(cpu, CLOCK_HZ, clockConfig));
    const putOff = cpu.onWatchdogReset.bind(cpu);
    cpu.onWatchdogReset = () => {
      const loopCycles = cpu.cycles - this.#watchdogResetAtCycle;
      if (loopCycles > this.#longestLoopCycles) this.#longestLoopCycles = loopCycles;
      this.#watchdogResetAtCycle = cpu.cycles;
      putOff();
    };

    const usart = new AVRUSART(cpu, usart0Config, CLOCK_HZ);
    this.#usart = usart;
    usart.onByteTransmit = (byte) => events.transmitted(byte);
    // The simulator forgets a received byte that waits while UCSR0B is written; the chip does not (data sheet,
    // USART Receive Complete flag: cleared by reading UDR0 alone).
    const writeUcsrB = cpu.writeHooks[usart0Config.UCSRB]!;
    cpu.writeHooks[usart0Config.UCSRB] = (...args) => {
      const waiting = cpu.data[usart0Config.UCSRA]! & RXC;
      const done = writeUcsrB(...args);
      if (waiting) usart.writeByte(this.#lastByte, true);
      return done;
    };

    // The simulator's reset leaves the peripherals as they are. On the chip every I/O register gets its initial
    // value (data sheet, Resetting the AVR).
    const resetCore = cpu.reset.bind(cpu);
    cpu.reset = () => {
      for (const { DDR, PORT } of [portBConfig, portDConfig]) {
        cpu.writeData(DDR, 0);
        cpu.writeData(PORT, 0);
      }
      this.#adc.completeADCRead(0);
      cpu.data.fill(0, IO_START, RAM_START);
      resetCore();
      usart.reset();
      timer.reset();
      this.#incoming = [];
      this.#receiving = false;
      this.#watchdogResetAtCycle = Number.NaN;
    };

    this.#portB = new AVRIOPort(cpu, portBConfig);
    this.#portB.addListener((value, old) => {
      for (let pin = 0; pin < 8; pin++) {
        const bit = 1 << pin;
        if ((value & bit) === (old & bit)) continue;
        if (value & bit) this.#riseCycle[pin] = cpu.cycles;
        else if (old & bit) events.pulse(pin, (cpu.cycles - this.#riseCycle[pin]!) / CYCLES_PER_US);
      }
    });
  }

  /** Since the start. */
  get timeUs(): number {
    return this.#cpu.cycles / CYCLES_PER_US;
  }

  run(durationUs: number): void {
    const cpu = this.#cpu;
    const due = cpu as unknown as { nextInterrupt: number; nextClockEvent: { cycles: number } | null };
    const end = cpu.cycles + durationUs * CYCLES_PER_US;
    while (cpu.cycles < end) {
      avrInstruction(cpu);
      // tick() would see this too, but costs a third of the time when nothing is due.
      if (due.nextInterrupt >= 0 || (due.nextClockEvent?.cycles ?? Infinity) <= cpu.cycles) cpu.tick();
    }
  }

  /** At a converter input. */
  setVolts(input: number, volts: number): void {
    this.#adc.channelValues[input] = volts;
  }

  /** A button from a pin of port D to ground. */
  press(pin: number, pressed: boolean): void {
    this.#portD.setPin(pin, !pressed);
  }

  /** Bytes for the serial port, each of which takes its time on the line. */
  send(bytes: Iterable<number>): void {
    for (const byte of bytes) this.#incoming.push(byte);
    if (!this.#receiving) this.#receive();
  }

  #receive(): void {
    const byte = this.#incoming.shift();
    this.#receiving = byte !== undefined;
    if (byte === undefined) return;
    const cyclesPerByte = (CLOCK_HZ / (this.baud ?? this.#usart.baudRate)) * BITS_PER_BYTE;
    this.#cpu.addClockEvent(() => {
      if (this.#cpu.data[usart0Config.UCSRA]! & RXC) this.overruns++;
      this.#lastByte = byte;
      this.#usart.writeByte(byte, true);
      this.#receive();
    }, cyclesPerByte);
  }

  /** Moves timer 1 on, to so many of its ticks before it goes round. */
  windTimer(ticksLeft: number): void {
    const count = 0x10000 - ticksLeft;
    this.#cpu.writeData(timer1Config.TCNT + 1, count >> 8);
    this.#cpu.writeData(timer1Config.TCNT, count & 0xff);
  }

  /**
   * The program goes astray: it runs the same instruction for ever. Interrupts go on, or are off as they would be in an
   * interrupt that hangs.
   */
  hang(interrupts: 'on' | 'off' = 'on'): void {
    const JUMP_TO_ITSELF = 0xcfff;
    // Not in the middle of an interrupt: that would be the other case.
    while (interrupts === 'on' && !this.#cpu.interruptsEnabled) this.run(1);
    if (interrupts === 'off') this.#cpu.data[SREG] &= ~INTERRUPT_FLAG;
    this.#cpu.pc = this.#cpu.progMem.indexOf(JUMP_TO_ITSELF);
  }

  /** From now on the program goes past its calls of the function at this address (bytes). @returns how many there are */
  skipCallsOf(address: number): number {
    const { progMem } = this.#cpu;
    let calls = 0;
    for (let at = 0; at + 1 < progMem.length; at++) {
      if (progMem[at] !== CALL || progMem[at + 1] !== address / 2) continue;
      progMem.fill(NOP, at, at + 2);
      calls++;
    }
    return calls;
  }

  /** A pin of port B as the outside finds it. */
  pin(pin: number): 'low' | 'high' | 'floating' {
    const state = this.#portB.pinState(pin);
    return state === PinState.Low ? 'low' : state === PinState.High ? 'high' : 'floating';
  }

  /** Longest time between two times that the program put off the watchdog timer. */
  get longestLoopUs(): number {
    return this.#longestLoopCycles / CYCLES_PER_US;
  }

  /** @param staticBytes what the linker put at the start of the RAM */
  ram(staticBytes: number): { stackBytes: number; freeBytes: number } {
    const lowest = this.#cpu.data.findIndex(
      (byte, address) => address >= RAM_START + staticBytes && byte !== PAINT,
    );
    const stackBytes = RAM_START + RAM_BYTES - lowest;
    return { stackBytes, freeBytes: RAM_BYTES - staticBytes - stackBytes };
  }
}

/** Intel HEX, the records that avr-objcopy writes for a program below 64 kB: 00 data, 01 end. */
function readHex(path: string): Uint8Array {
  const flash = new Uint8Array(FLASH_BYTES).fill(0xff);
  for (const line of readFileSync(path, 'utf8').trim().split(/\r?\n/)) {
    const record = Buffer.from(line.slice(1), 'hex');
    const [length, high, low, type] = record as unknown as [number, number, number, number];
    if (record.reduce((sum, byte) => sum + byte, 0) % 256 !== 0) throw new Error(`${path}: bad checksum`);
    if (type === 1) return flash;
    if (type === 0) flash.set(record.subarray(4, 4 + length), high * 256 + low);
  }
  throw new Error(`${path} has no end`);
}

/**
 * Has a timer in normal mode count when it is read and when it reaches a compare value or its end, instead of at
 * each of its ticks: all that differs is how long the simulation takes.
 */
function sparse(cpu: CPU, timer: AVRTimer): void {
  const inner = timer as unknown as { count: () => void; tcnt: number; ocrA: number; divider: number };
  const add = cpu.addClockEvent.bind(cpu);
  cpu.addClockEvent = (callback, cycles) => {
    if (callback !== inner.count || cycles <= 0 || inner.divider === 0) return add(callback, cycles);
    const toEnd = 0x10000 - inner.tcnt;
    const toCompare = inner.ocrA > inner.tcnt ? inner.ocrA - inner.tcnt : toEnd;
    return add(callback, cycles + (Math.min(toEnd, toCompare) - 1) * inner.divider);
  };
  const writeCompare = cpu.writeHooks[timer1Config.OCRA]!;
  cpu.writeHooks[timer1Config.OCRA] = (...args) => {
    const done = writeCompare(...args);
    cpu.updateClockEvent(inner.count, 0);
    return done;
  };
}
