/**
 * The PWM pin of a board whose program sets the timer up by itself: what the chip does to the pin in, the pulse line out.
 *
 * The same part as the PWM timer to everybody who listens, but its own settings are then without meaning: waveform,
 * divider and compare are read off the chip's registers as they are at work.
 */

import type { ChartRun } from '../sim/chart/run.ts';
import type { Host, Live } from '../sim/kernel/part.ts';

export const LINE_WORDS = ['low', 'high', 'floating'] as const;
export const LOW = 0;
export const HIGH = 1;
export const FLOATING = 2;

/** How a chip's timer counts: values of `firmware.wave`. The first two are no PWM. */
export const WAVE_WORDS = ['normal', 'ctc', 'fast', 'phase-correct', 'phase-and-frequency-correct'] as const;

/** Level of the line behind the pin driver: `pin` as `board.pin` says it. */
function lineBehind(pin: number, level: number): number {
  if (pin === 0 || pin === 4) return FLOATING;
  return pin === 2 ? LOW : pin === 3 ? HIGH : level;
}

/** The part at work. `runOf` starts the part's chart with the context given. */
export function makePin(host: Host, runOf: (context: object) => ChartRun): Live {
  const state = { output: FLOATING, pin: 0, isStopped: false, riseSeconds: -1 };
  const { now, values, out, bits } = host;
  /** Publishes the line, and the pulse and frame that its edges end. */
  const show = (): void => {
    const line = lineBehind(state.pin, state.output);
    const before = values[out.line!]!;
    if (before === line) return;
    host.blame(out.latched!);
    host.emit(out.line!, line);
    if (line === HIGH) {
      if (state.riseSeconds >= 0) host.note(out.frame!, now[0]! - state.riseSeconds);
      state.riseSeconds = now[0]!;
    } else if (before === HIGH && state.riseSeconds >= 0) host.note(out.pulse!, now[0]! - state.riseSeconds);
  };
  const nothing = (): void => {
    // The registers are the program's: nothing here changes them.
  };
  const run = runOf({
    isStopped: () => state.isStopped,
    stopCounting: nothing,
    startFrame: nothing,
    takeResetPrescaler: nothing,
    takeOwnPrescaler: nothing,
  });
  const events = {
    stopped: run.event('clock stopped'),
    running: run.event('clock running'),
    written: run.event('written'),
  };
  const tellTick = (): void => {
    const tick = values[host.in.tick!]!;
    host.update(out.tick!, tick);
    const isFast = WAVE_WORDS[values[host.in.wave!]!] === 'fast';
    host.update(out.step!, isFast ? tick : 2 * tick);
    host.update(out.least!, isFast ? tick : 0);
  };
  return {
    state,
    start: () => {
      run.start();
      host.emit(out.line!, FLOATING);
    },
    input: (changed) => {
      if (changed & bits.clock!) {
        run.send(events.stopped);
        if (values[host.in.clock!]! > 0) run.send(events.running);
      }
      if (changed & (bits.tick! | bits.wave!)) tellTick();
      if (changed & bits.latched!) {
        host.blame(host.in.compare!);
        host.emit(out.latched!, values[host.in.latched!]!);
      }
      if (changed & bits.pin!) state.pin = values[host.in.pin!]!;
      if (changed & bits.output! && !state.isStopped) {
        state.output = values[host.in.output!]!;
        if (state.output !== FLOATING) run.send(events.written);
      }
      show();
    },
    fault: (event) => {
      if (event === 'stopped') state.isStopped = true;
      else if (event === 'mend stopped') {
        state.isStopped = false;
        state.output = values[host.in.output!]!;
      }
      run.send(run.event(event));
      show();
    },
  };
}
