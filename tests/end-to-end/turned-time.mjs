/**
 * Loaded before a program (node --import): its timers and its monotonic clock go as the test says that started it
 * (turned-program.ts), and what a busy machine takes longer for takes no longer in them. What the runtime itself times, such
 * as connections, goes by the machine's clock.
 */
const real = { setImmediate, setInterval, clearInterval };
let nowMs = Math.ceil(performance.now());
performance.now = () => nowMs;

/** In the order in which they are due. @type {Timer[]} */
const due = [];
let keepsAlive;

/** The process lives as long as a timer that counts. */
function seeToLife() {
  const alive = due.some((timer) => timer.counts);
  if (alive) keepsAlive ??= real.setInterval(() => {}, 2 ** 30);
  else if (keepsAlive) keepsAlive = real.clearInterval(keepsAlive);
}

let made = 0;

/** As much of a timer of Node as programs use. */
class Timer {
  counts = true;
  id = ++made;

  constructor(run, delayMs, again) {
    // As Node has it: at least a millisecond, also for what is no number.
    this.delayMs = Math.max(1, Number(delayMs) || 1);
    this.run = run;
    this.again = again;
    this.begin();
  }
  begin() {
    this.atMs = nowMs + this.delayMs;
    const after = due.findIndex((other) => other.atMs > this.atMs);
    due.splice(after < 0 ? due.length : after, 0, this);
    seeToLife();
  }
  end() {
    const at = due.indexOf(this);
    if (at < 0) return;
    due.splice(at, 1);
    seeToLife();
  }
  ref() {
    this.counts = true;
    seeToLife();
    return this;
  }
  unref() {
    this.counts = false;
    seeToLife();
    return this;
  }
  hasRef() {
    return this.counts;
  }
  refresh() {
    this.end();
    this.begin();
    return this;
  }
  close() {
    this.end();
    return this;
  }
  [Symbol.toPrimitive]() {
    return this.id;
  }
  [Symbol.dispose]() {
    this.end();
  }
}

const clear = (timer) => {
  const found = timer instanceof Timer ? timer : due.find(({ id }) => id === Number(timer));
  found?.end();
};
Object.assign(globalThis, {
  setTimeout: (run, delayMs, ...args) => new Timer(() => run(...args), delayMs, false),
  setInterval: (run, delayMs, ...args) => new Timer(() => run(...args), delayMs, true),
  clearTimeout: clear,
  clearInterval: clear,
});

const turn = () => new Promise((resolve) => real.setImmediate(resolve));

async function pass(ms) {
  const endMs = nowMs + ms;
  while (due.length > 0 && due[0].atMs <= endMs) {
    const timer = due[0];
    nowMs = Math.max(nowMs, timer.atMs);
    timer.end();
    if (timer.again) timer.begin();
    timer.run();
    await turn();
  }
  nowMs = endMs;
  // What has come in by now is read now, and what it leads to gets a few steps of its way.
  for (let turns = 0; turns < 4; turns++) await turn();
}

process.on('message', async (ms) => {
  await pass(ms);
  process.send?.(ms);
});
process.on('disconnect', () => process.exit(3));
process.channel?.unref();
