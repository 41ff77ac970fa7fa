/** What the buttons of a glove did in a check. */
export interface ButtonFinding {
  /** As the profile names it. */
  readonly name: string;
  /** stuck: pressed all the time, or hardly ever let go; notPressed: never seen pressed, whatever the reason. */
  readonly verdict: 'healthy' | 'stuck' | 'notPressed' | 'bouncing';
  readonly evidence: string;
  readonly remedy: string;
}

export interface ButtonWatch {
  /** @param bits of a sample */
  sample(bits: number, timeS: number): void;
  findings(): ButtonFinding[];
}

/** Pressed for more than this part of the time: nobody does that. */
const STUCK = 0.9;
/** Presses and gaps shorter than this are the contacts' own, s: fingers take some 50 ms. Common practice. */
const BOUNCE_S = 0.03;

/** @param named bit of each button @param debounceMs of the profile: bounces that it takes out are no fault */
export function createButtonWatch(named: Readonly<Record<string, number>>, debounceMs: number): ButtonWatch {
  const names = Object.keys(named);
  const buttons = names.map((name) => ({
    mask: 1 << named[name],
    pressed: false,
    presses: 0,
    pressedS: 0,
    changedS: Number.NEGATIVE_INFINITY,
    longestBounceS: 0,
    bounceS: Number.NaN,
  }));
  let firstS = Number.NaN;
  let lastS = Number.NaN;

  return {
    sample(bits, timeS) {
      if (Number.isNaN(firstS)) firstS = timeS;
      const dtS = timeS - lastS || 0;
      lastS = timeS;
      for (const button of buttons) {
        const pressed = (bits & button.mask) !== 0;
        if (button.pressed) button.pressedS += dtS;
        if (pressed === button.pressed) continue;
        button.pressed = pressed;
        const quick = timeS - button.changedS < BOUNCE_S;
        // A bounce begins with the change before it.
        if (quick && Number.isNaN(button.bounceS)) button.bounceS = button.changedS;
        if (!quick) {
          button.bounceS = Number.NaN;
          if (pressed) button.presses++;
        } else button.longestBounceS = Math.max(button.longestBounceS, timeS - button.bounceS);
        button.changedS = timeS;
      }
    },
    findings: () =>
      names.map((name, k): ButtonFinding => {
        const { presses, pressedS, longestBounceS } = buttons[k];
        const part = lastS > firstS ? pressedS / (lastS - firstS) : 0;
        if (part > STUCK) {
          return {
            name,
            verdict: 'stuck',
            evidence: `pressed for ${Math.round(100 * part)} % of the time`,
            remedy:
              'Its wire touches ground, its contact hangs, or the pull-up is missing (then the firmware reads it the wrong way round).',
          };
        }
        if (presses === 0) {
          return {
            name,
            verdict: 'notPressed',
            evidence: 'was not seen pressed',
            remedy:
              'If you did press it: check its two wires and its bit under `buttons`. Else check again and press it when asked.',
          };
        }
        const times = `pressed ${presses} ${presses === 1 ? 'time' : 'times'}`;
        const bounceMs = 1000 * longestBounceS;
        if (bounceMs <= debounceMs) return { name, verdict: 'healthy', evidence: times, remedy: '' };
        return {
          name,
          verdict: 'bouncing',
          evidence: `${times}, its contacts bounce for ${bounceMs.toFixed(0)} ms`,
          remedy: `Set \`controls.debounceMs\` to ${Math.ceil(bounceMs * 1.5)} or more (it is ${debounceMs}), or replace the button.`,
        };
      }),
  };
}
