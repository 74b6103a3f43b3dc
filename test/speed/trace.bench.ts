/**
 * Recording and judging. One hour of a signal that changes 100 times a second is 360,000 samples; the figures per sample
 * are a benchmark's time over `SAMPLES`.
 */
import { bench, describe } from 'vitest';
import { csvOf } from '../../sim/trace/csv.ts';
import type { SignalInfo } from '../../sim/trace/signal.ts';
import { Trace } from '../../sim/trace/trace.ts';
import { vcdOf } from '../../sim/trace/vcd.ts';
import { expectationSchema, type Formula, parseExpectation } from '../../sim/verdict/expectation.ts';
import { judge } from '../../sim/verdict/judge.ts';

const SAMPLES = 360_000;
const PER_SECOND = 100;
const signals: readonly SignalInfo[] = [
  { name: 'left.pulse', dimension: 'time', shape: 'held', means: 'pulse' },
  { name: 'pedal.voltage', dimension: 'voltage', shape: 'linear', means: 'voltage' },
];
const options = { iterations: 8, time: 500, warmupIterations: 2, warmupTime: 100 };

function recorded(samples: number): Trace {
  const trace = new Trace(signals);
  for (let count = 0; count < samples; count += 1) {
    const seconds = count / PER_SECOND;
    trace.append(0, seconds, 0.0015 + ((count * 7919) % 101) * 1e-6);
    trace.append(1, seconds, 2 + ((count * 104729) % 97) / 50);
  }
  trace.finish(samples / PER_SECOND);
  return trace;
}

function formulaOf(item: Record<string, unknown>): Formula {
  const lookup = (name: string) => signals.find((signal) => signal.name === name);
  const parsed = parseExpectation(expectationSchema.parse(item), lookup, []);
  if ('mistakes' in parsed) throw new Error(JSON.stringify(parsed.mistakes));
  return parsed.formula;
}

const hour = recorded(SAMPLES);
const short = recorded(600);

describe('trace: an hour at 100 samples a second', () => {
  bench('append, two signals', () => void recorded(SAMPLES), options);

  bench(
    'append, one held signal that never changes',
    () => {
      const trace = new Trace(signals);
      for (let count = 0; count < SAMPLES; count += 1) trace.append(0, count / PER_SECOND, 1);
    },
    options,
  );

  bench(
    'CSV, two signals',
    () => {
      for (const chunk of csvOf(hour.columns)) if (chunk === '') throw new Error('an empty chunk');
    },
    options,
  );

  bench(
    'VCD, two signals',
    () => {
      for (const chunk of vcdOf(hour.columns, { version: 'bench', endSeconds: 3600 }))
        if (chunk === '') throw new Error('an empty chunk');
    },
    options,
  );
});

describe('judge: an hour at 100 samples a second', () => {
  const forms: Record<string, Record<string, unknown>> = {
    'always, held': { that: 'left.pulse < 2.1 ms', always: true },
    'always, linear': { that: 'pedal.voltage < 3 V', always: true },
    'always, between and two joined': { that: 'pedal.voltage between 1 V and 4 V and left.pulse < 2 ms', always: true },
    'never for 200 ms': { that: 'pedal.voltage > 3 V', never: true, for: '200 ms' },
    'when, then, within 1 s': { when: 'left.pulse > 1.55 ms', then: 'pedal.voltage < 2.5 V', within: '1 s' },
    'when, then, within 1 min for 1 s': {
      when: 'left.pulse > 1.55 ms',
      then: 'pedal.voltage < 2.5 V',
      within: '1 min',
      for: '1 s',
    },
  };
  for (const [name, item] of Object.entries(forms)) {
    const formula = formulaOf(item);
    bench(name, () => void judge(formula, hour), options);
  }
});

describe('judge: a run of 6 s', () => {
  const formula = formulaOf({ that: 'left.pulse < 2.1 ms', always: true });
  bench('always, held, 600 samples', () => void judge(formula, short), { time: 300 });
});
