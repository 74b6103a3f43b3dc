/**
 * The analogue side of a converter whose registers a program works: the chip says when the input is held, what its
 * multiplexer and its reference are set to, and when the result is due; this part says what voltage that is, and which
 * count. Its own divider and resolution are then without meaning.
 *
 * Source: 8161D chapter 23: channels in table 23-4, references in table 23-3, temperature sensor in table 23-2.
 */
import type { ChartRun } from '../sim/chart/run.ts';
import type { Host, Live } from '../sim/kernel/part.ts';
import type { Parameters } from './adc.ts';
import { countOf, heldVolts, openVolts } from './conversion.ts';

/** What a program's multiplexer can be set to, and what it can measure against: values of `source` and `against`. */
export const SOURCE_WORDS = ['pedal', 'open', 'bandgap', 'ground', 'temperature'] as const;
export const AGAINST_WORDS = ['reference-pin', 'supply', 'reserved', 'bandgap'] as const;

/** The chip's converter has 10 bits whatever the bench says. */
const BITS = 10;
/** The sensor at 25 degrees. */
const TEMPERATURE_VOLTS = 0.314;

/** The part at work. `runOf` starts the part's chart with the context given. */
export function ofChip(host: Host, numbers: Parameters, runOf: (context: object) => ChartRun): Live {
  const state = { hertz: 0, isReferenceWrong: false, isStuck: false, heldVolts: 0 };
  const { values, out, bits } = host;
  const supplyIn = host.in.supply!;
  const signalIn = host.in.signal!;
  const impedanceIn = host.in.impedance!;
  const pickUp = host.stream('pick-up');
  const run = runOf({
    setReferenceWrong: () => {
      state.isReferenceWrong = true;
    },
    setReferenceRight: () => {
      state.isReferenceWrong = false;
    },
    stickChannel: () => {
      state.isStuck = true;
    },
    freeChannel: () => {
      state.isStuck = false;
    },
  });
  const events = {
    stopped: run.event('clock stopped'),
    running: run.event('clock running'),
    finished: run.event('finished'),
  };
  const open = (): number => openVolts(state.heldVolts, values[supplyIn]!, numbers.pull, () => pickUp.normal());

  const pedalVolts = (): number => {
    host.sample(signalIn);
    host.sample(impedanceIn);
    const sourceOhms = values[impedanceIn]!;
    if (sourceOhms === Number.POSITIVE_INFINITY) return open();
    const connectedSeconds = values[host.in.settling!]!;
    return heldVolts(state.heldVolts, values[signalIn]!, sourceOhms + numbers.series, numbers.hold, connectedSeconds);
  };
  const chosenVolts = (): number => {
    switch (SOURCE_WORDS[values[host.in.source!]!]) {
      case 'pedal':
        return pedalVolts();
      case 'bandgap':
        return numbers.internal;
      case 'temperature':
        return TEMPERATURE_VOLTS;
      case 'ground':
        return 0;
      default:
        return open();
    }
  };
  const referenceVolts = (): number => {
    const against = AGAINST_WORDS[values[host.in.against!]!];
    if (against === 'bandgap' || state.isReferenceWrong) return numbers.internal;
    // What the bench names as the reference is what is wired to the reference pin.
    if (against === 'supply' || numbers.reference === 'rail') return values[supplyIn]!;
    return numbers.reference === 'internal' ? numbers.internal : numbers.reference;
  };

  return {
    state,
    start: () => run.start(),
    input: (changed) => {
      if (changed & bits.clock!) {
        state.hertz = values[host.in.clock!]!;
        run.send(events.stopped);
        if (state.hertz > 0) run.send(events.running);
      }
      if (state.hertz === 0) return;
      if (changed & bits.hold!) {
        host.sample(supplyIn);
        if (!state.isStuck) state.heldVolts = chosenVolts();
        host.note(out.held!, state.heldVolts);
      }
      if (changed & bits.result!) {
        run.send(events.finished);
        const reference = referenceVolts();
        host.note(out.reference!, reference);
        host.emit(out.count!, reference > 0 ? countOf(state.heldVolts, reference, BITS, numbers.offset) : 0);
      }
    },
    fault: (event) => {
      run.send(run.event(event));
    },
  };
}
