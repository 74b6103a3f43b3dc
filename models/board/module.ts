/**
 * The program of the board as a module: firmware logic that runs on any machine behind a small interface (module/program.ts).
 *
 *     control pass   every `every` a conversion is started; when its count is there, `pass` is called, as in the mapping law
 *     steps          a call that takes more than `steps-most` of them is stopped, and the program then stands still
 *     serial port    module/serial.ts
 *
 * A program that was stopped, or that did what cannot be done, leaves the timer making its last pulse, until a watchdog
 * of the board or a loss of supply starts it anew.
 */
import { setup } from 'xstate';
import { runChart } from '../../sim/chart/run.ts';
import type { Explain, Fault, Host, Live, PartKind, Ports } from '../../sim/kernel/part.ts';
import { POSITION_WORDS } from '../selector.ts';
import { HUNG } from './board.ts';
import { FILE_KEYS, type Parameters, parameters, takeFiles } from './module/parameters.ts';
import { PINS, type Stop, type World } from './module/program.ts';
import { serialPort } from './module/serial.ts';
import { steps } from './serial-in.ts';

export { parameters, steps };

export const ports = {
  in: {
    clock: { means: 'board clock; 0 stops the program', from: () => 'board.clock' },
    program: { means: 'whether the program stands still', from: () => 'board.program' },
    count: { means: 'result of the conversion', from: () => 'adc.count' },
    position: {
      means: 'selector position',
      from: ({ partNames }) => (partNames.has('selector') ? 'selector.position' : undefined),
      wakes: false,
    },
    radio: {
      means: "pulse of the radio receiver's channel",
      from: ({ partNames }) => (partNames.has('receiver') ? 'receiver.pulse' : undefined),
      wakes: false,
    },
  },
  out: {
    convert: { means: 'conversions asked for: one each control pass', dimension: 'count', derived: true },
    compare: { means: 'value written to the compare register', dimension: 'count' },
    writer: { means: 'place in the program that wrote it', dimension: 'count', quiet: true },
    pass: { means: 'control passes since the program started', dimension: 'count', quiet: true },
    pins: {
      means: 'pins that the program sets high: pin 0 counts 1, pin 1 counts 2, pin 2 counts 4',
      dimension: 'count',
    },
    sent: { means: 'the byte that the program has sent last', dimension: 'count', isBytes: true },
    halted: { means: 'whether the program has come to a halt by itself', dimension: 'count' },
  },
} as const satisfies Ports;

export const chart = setup({
  types: { events: {} as { type: string } },
}).createMachine({
  id: 'module',
  initial: 'stopped',
  on: { 'clock stopped': '.stopped' },
  states: {
    stopped: { on: { 'clock running': 'running' } },
    running: { on: { 'steps used up': 'looping', trap: 'trapped' } },
    looping: {},
    trapped: {},
  },
});

export const faults = {} as const satisfies Readonly<Record<string, Fault>>;

function make(host: Host, numbers: Parameters): Live {
  const state = {
    hertz: 0,
    isRunning: false,
    isHalted: false,
    passTick: 0,
    passTicks: 1,
    passCount: 0,
    startSeconds: 0,
    count: 0,
    compare: 0,
    hasWritten: false,
    /** What the call under way has stored, and where in the program. */
    stored: 0,
    storedAt: -1,
    hasStored: false,
    pins: 0,
  };
  const { now, values, out, bits } = host;
  const module = numbers.module();
  const contacts = Object.entries(numbers.pins.selector ?? {}).flatMap(([word, pin]) =>
    pin === undefined ? [] : [{ position: POSITION_WORDS.indexOf(word as 'low'), pin }],
  );
  const run = runChart(host, chart, {});
  const events = {
    stopped: run.event('clock stopped'),
    running: run.event('clock running'),
    steps: run.event('steps used up'),
    trap: run.event('trap'),
  };

  const world: World = {
    readCount: () => state.count,
    setCompare: (compare, place) => {
      state.stored = compare;
      state.storedAt = place;
      state.hasStored = true;
    },
    readPin: (pin) => {
      const contact = contacts.find((one) => one.pin === pin);
      if (contact === undefined) return isHigh(pin) ? 1 : 0;
      const position = host.in.position! >= 0 ? values[host.in.position!]! : -1;
      return position === contact.position ? 0 : 1;
    },
    setPin: (pin, isHighNow) => {
      if (pin < 0 || pin >= PINS) {
        host.finding('no-such-pin', `the program sets pin ${pin}; there are pins 0 to ${PINS - 1}`);
        return;
      }
      state.pins = isHighNow ? state.pins | (1 << pin) : state.pins & ~(1 << pin);
    },
    readPulse: () => (host.in.radio! >= 0 ? Math.round(values[host.in.radio!]! * 1e6) : 0),
    timeUs: () => Math.floor((now[0]! - state.startSeconds) * 1e6 + 1e-3) % 2 ** 32,
    print: (bytes) => serial.print(bytes),
    readByte: () => serial.readByte(),
  };
  const isHigh = (pin: number): boolean => pin >= 0 && pin < PINS && (state.pins & (1 << pin)) !== 0;
  const program = module.start(world, numbers['steps-most']);
  host.attach({ state: program.state, restored: () => program.restored() });

  const passTimer = host.timer(() => {
    state.passCount += 1;
    host.emit(out.convert!, state.passCount);
    state.passTick += state.passTicks;
    host.wake(passTimer, state.passTick / state.hertz);
  });
  const serial = serialPort(host, numbers['serial-rate'], (byte) => host.emit(out.sent!, byte));

  /** No time passes in a call, so that only what it stored last is ever seen. */
  const publish = (): void => {
    host.update(out.pins!, state.pins);
    if (!state.hasStored) return;
    state.hasStored = false;
    host.note(out.writer!, state.storedAt);
    if (state.hasWritten && state.compare === state.stored) return;
    state.compare = state.stored;
    state.hasWritten = true;
    host.blame(host.in.count!);
    host.emit(out.compare!, state.compare);
  };
  /** Something was called and may have come to a halt. */
  const called = (name: string, stop: Stop | undefined): void => {
    publish();
    if (stop === undefined) return;
    state.isRunning = false;
    state.isHalted = true;
    host.sleep(passTimer);
    const when = name === 'init' ? 'in `init`' : `in pass ${state.passCount}`;
    const where = module.placeOf(stop.place);
    if (stop.kind === 'steps')
      host.finding(`looping ${stop.place}`, `the program never ends ${when}, in ${where}: ${stop.says}`);
    else host.finding(`trap ${stop.place}`, `the program breaks off ${when}, in ${where}: ${stop.says}`);
    run.send(stop.kind === 'steps' ? events.steps : events.trap);
    host.emit(out.halted!, 1);
  };
  const pass = (): void => {
    state.count = values[host.in.count!]!;
    host.note(out.pass!, state.passCount);
    called('pass', program.pass());
  };
  const begin = (): void => {
    state.isRunning = true;
    state.isHalted = false;
    state.hasWritten = false;
    state.passCount = 0;
    state.count = 0;
    state.pins = 0;
    state.startSeconds = now[0]!;
    host.update(out.halted!, 0);
    host.update(out.pins!, 0);
    host.note(out.pass!, 0);
    run.send(events.running);
    serial.begin();
    program.reset();
    state.passTicks = Math.max(1, Math.round(numbers.every * state.hertz));
    state.passTick = Math.round(now[0]! * state.hertz) + state.passTicks;
    host.wake(passTimer, state.passTick / state.hertz);
    called('init', program.init());
  };
  const end = (): void => {
    state.isRunning = false;
    host.sleep(passTimer);
    serial.end();
    run.send(events.stopped);
  };

  return {
    state,
    start: () => run.start(),
    input: (changed) => {
      if (changed & bits.clock!) {
        end();
        state.hertz = values[host.in.clock!]!;
        if (state.hertz > 0) begin();
        return;
      }
      if (state.hertz === 0 || state.isHalted) return;
      if (changed & bits.program!) {
        const isHung = values[host.in.program!]! === HUNG;
        if (isHung) {
          state.isRunning = false;
          host.sleep(passTimer);
        } else if (!state.isRunning) {
          // It goes on where it stood still.
          state.isRunning = true;
          state.passTick = Math.round(now[0]! * state.hertz) + state.passTicks;
          host.wake(passTimer, state.passTick / state.hertz);
        }
      }
      if (changed & bits.count! && state.isRunning) pass();
    },
    command: (_form, contents) => serial.receive((contents as { receive: string }).receive),
    fault: () => {
      // A program does what it was told.
    },
  };
}

const tellCompare: Explain = ({ parameters: raw, read, value, wanted }) => {
  const module = (raw as Parameters).module();
  const pass = read('firmware.pass');
  const when = pass === 0 ? '`init` of the program' : `pass ${pass} of the program`;
  const says = `${when} stored ${value} as the compare value, in ${module.placeOf(read('firmware.writer'))}, with count ${read('adc.count')}`;
  if (wanted === undefined) return { says, next: 'adc.count' };
  const range = wanted.least === wanted.most ? `${wanted.least}` : `${wanted.least} to ${wanted.most}`;
  return { says: `${says}; ${range} would ${wanted.to}`, next: 'adc.count' };
};

export const module: PartKind = {
  kind: 'firmware',
  means: 'program of the board: a module of firmware logic',
  at: 'board.firmware',
  variant: 'module',
  parameters,
  files: { keys: FILE_KEYS, take: takeFiles as unknown as NonNullable<PartKind['files']>['take'] },
  ports,
  chart,
  faults,
  steps,
  explain: {
    compare: tellCompare,
    mode: ({ word, value }) => {
      const mode = word('firmware.mode', value);
      const says: Readonly<Record<string, string>> = {
        stopped: 'the board does not run, and so does not its program',
        running: 'the program runs its control passes',
        looping: 'the program was called and never came back',
        trapped: 'the program did what cannot be done, and broke off',
      };
      return { says: says[mode] ?? `the program is ${mode}`, next: mode === 'stopped' ? 'board.mode' : null };
    },
  },
  tells: { along: 'signal', ports: ['compare', 'pass'] },
  make: make as PartKind['make'],
};
