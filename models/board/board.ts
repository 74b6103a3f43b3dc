/**
 * Microcontroller board: supply in, clock and the state of the output pin out.
 *
 *     off -> starting -> running     above the brown-out level, after the start-up time, when the pin is configured
 *     any -> off                     below the brown-out level; it must then rise by the hysteresis to start again
 *     running -> starting            when the program stood still for the watchdog's time
 *     pin                            floats until the program configures it, and again from each reset on; a program
 *                                    that stands still leaves the timer running, and the line goes on pulsing
 *
 * Source: ATmega48P/88P/168P/328P datasheet 8025I, p. 320 (brown-out 2.7 V typical at level 101, hysteresis 50 mV);
 * start-up 65 ms with a crystal on slowly rising power: 2545D p. 29 table 9.
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../../sim/chart/run.ts';
import type { Explain, Fault, Host, Live, PartKind, Ports } from '../../sim/kernel/part.ts';
import { formatQuantity, hertz, type Settled, seconds, volts } from '../../sim/units/index.ts';
import { PIN_WORDS } from '../pwm-timer.ts';

export const parameters = {
  clock: hertz({ min: 1000, max: 64e6, means: 'CPU clock', example: '8 MHz ± 1 %' }).prefault('16 MHz'),
  'brown-out': volts({
    min: 0,
    max: 30,
    means: 'supply below which the board is held in reset; 0 V switches it off',
    example: '2.7 V',
  }).prefault('2.7 V'),
  hysteresis: volts({
    min: 0,
    max: 1,
    means: 'rise above the brown-out level that ends the reset',
    example: '50 mV',
  }).prefault('50 mV'),
  'start-up': seconds({
    min: 0,
    max: 30,
    means: 'from good supply to the first instruction',
    example: '65 ms',
  }).prefault('65 ms'),
  'boot-loader': seconds({
    min: 0,
    max: 30,
    means: 'what a boot loader waits before the program starts',
    example: '0 s',
  }).prefault('0 s'),
  watchdog: seconds({
    above: 0,
    max: 60,
    means: 'time after which the watchdog resets a board whose program has stopped; without it there is none',
    example: '500 ms',
  }).optional(),
} as const;
const schema = z.strictObject(parameters);
type Parameters = Settled<z.output<typeof schema>>;

/** Values of `board.program`. */
export const PROGRAM_WORDS = ['stopped', 'running', 'hung'] as const;
export const HUNG = 2;

export const ports = {
  in: {
    supply: { means: 'rail that feeds the board', from: () => 'rail.voltage' },
    watchdog: {
      means: 'resets by the watchdog of the chip itself',
      from: ({ gives }) => (gives('firmware.watchdog') ? 'firmware.watchdog' : undefined),
    },
    halted: {
      means: 'the program has come to a halt by itself',
      from: ({ gives }) => (gives('firmware.halted') ? 'firmware.halted' : undefined),
    },
  },
  out: {
    clock: { means: 'CPU clock; 0 while the board is off or in reset', dimension: 'frequency' },
    pin: { means: 'what the driver of the PWM pin does', dimension: 'count', words: PIN_WORDS },
    program: { means: 'what its program does', dimension: 'count', words: PROGRAM_WORDS },
    resets: { means: 'resets so far', dimension: 'count' },
  },
} as const satisfies Ports;

interface Board {
  readonly numbers: Parameters;
  isSupplyGood(): boolean;
  isSupplyBad(): boolean;
  holdReset(): void;
  runProgram(): void;
}

export const chart = setup({
  types: { context: {} as Board, events: {} as { type: string } },
  guards: { supplyGood: ({ context }) => context.isSupplyGood(), supplyBad: ({ context }) => context.isSupplyBad() },
  actions: { holdReset: ({ context }) => context.holdReset(), runProgram: ({ context }) => context.runProgram() },
  delays: {
    startUp: ({ context }) => context.numbers['start-up'],
    bootLoader: ({ context }) => context.numbers['boot-loader'],
  },
}).createMachine({
  id: 'board',
  context: ({ input }) => input as Board,
  initial: 'off',
  states: {
    off: { entry: 'holdReset', on: { supply: { guard: 'supplyGood', target: 'on' } } },
    on: {
      initial: 'starting',
      on: { supply: { guard: 'supplyBad', target: 'off' }, 'watchdog reset': '.starting' },
      states: {
        starting: { entry: 'holdReset', after: { startUp: 'boot-loader' } },
        'boot-loader': { after: { bootLoader: 'running' } },
        running: { entry: 'runProgram' },
      },
    },
  },
});

export const faults = {
  'pin-stuck-low': {
    enter: 'pin-stuck-low',
    leave: 'mend pin-stuck-low',
    means: 'the output pin is shorted to ground',
  },
  'pin-stuck-high': {
    enter: 'pin-stuck-high',
    leave: 'mend pin-stuck-high',
    means: 'the output pin is shorted to the supply',
  },
  'pin-open': { enter: 'pin-open', leave: 'mend pin-open', means: 'the wire from the output pin is open' },
  'program-hung': {
    enter: 'program-hung',
    leave: 'mend program-hung',
    means: 'the program stands still until a reset; the timer goes on making the last pulse',
  },
} as const satisfies Readonly<Record<string, Fault>>;

/** Value of `board.pin` that a fault of the pin brings about. */
const PIN_OF_FAULT: Readonly<Record<string, number>> = { 'pin-stuck-low': 2, 'pin-stuck-high': 3, 'pin-open': 4 };

function make(host: Host, numbers: Parameters): Live {
  const state = { pinFault: 0, isConfigured: false, isHung: false, resetCount: 0 };
  const { values, out } = host;
  const supplyIn = host.in.supply!;
  const board: Board = {
    numbers,
    isSupplyGood: () => values[supplyIn]! >= numbers['brown-out'] + numbers.hysteresis,
    isSupplyBad: () => values[supplyIn]! < numbers['brown-out'] || values[supplyIn]! <= 0,
    holdReset: () => {
      state.isConfigured = false;
      state.isHung = false;
      host.sleep(watchdog);
      if (values[out.clock!]! > 0) {
        state.resetCount += 1;
        host.emit(out.resets!, state.resetCount);
      }
      showPin();
      host.update(out.program!, 0);
      host.update(out.clock!, 0);
    },
    runProgram: () => {
      state.isConfigured = true;
      host.update(out.program!, 1);
      host.update(out.clock!, numbers.clock);
      showPin();
    },
  };
  const showPin = (): void => host.update(out.pin!, state.pinFault > 0 ? state.pinFault : state.isConfigured ? 1 : 0);
  // The program served the watchdog just before it stopped: the longest time that the line then goes on unguided.
  const hang = (isHung: boolean): void => {
    if (!state.isConfigured || state.isHung === isHung) return;
    state.isHung = isHung;
    host.update(out.program!, isHung ? HUNG : 1);
    if (!isHung) host.sleep(watchdog);
    else if (numbers.watchdog !== undefined) host.wake(watchdog, host.now[0]! + numbers.watchdog);
  };
  const watchdog = host.timer(() => {
    host.finding('watchdog', 'the watchdog reset the board, whose program had stopped');
    run.send(run.event('watchdog reset'));
  });
  const run = runChart(host, chart, board);
  const supply = run.event('supply');
  return {
    state,
    start: () => run.start(),
    input: (changed) => {
      if (changed & host.bits.supply!) run.send(supply);
      if (changed & host.bits.watchdog!) run.send(run.event('watchdog reset'));
      if (changed & host.bits.halted!) hang(values[host.in.halted!]! === 1);
    },
    fault: (event) => {
      if (event.endsWith('program-hung')) return hang(event === 'program-hung');
      const entered = PIN_OF_FAULT[event];
      // A second fault of the pin takes the place of the first, whose end then changes nothing.
      if (entered !== undefined) state.pinFault = entered;
      else if (PIN_OF_FAULT[event.replace(/^mend /, '')] === state.pinFault) state.pinFault = 0;
      showPin();
    },
  };
}

const tellClock: Explain = ({ parameters: raw, value, read, word }) => {
  const numbers = raw as Parameters;
  const supply = formatQuantity(read('rail.voltage'), 'voltage');
  const mode = word('board.mode', read('board.mode'));
  if (value > 0)
    return { says: `the board runs its program at ${formatQuantity(value, 'frequency')}`, next: 'rail.voltage' };
  if (mode === 'off')
    return {
      says: `the board is held in reset: its supply is ${supply}, brown-out comes below ${formatQuantity(numbers['brown-out'], 'voltage')}`,
      next: 'rail.voltage',
    };
  return {
    says: `the board is starting up, with a supply of ${supply} (reset ${read('board.resets')})`,
    next: 'rail.voltage',
  };
};

const tellResets: Explain = ({ parameters: raw, value, read }) => {
  const level = (raw as Parameters)['brown-out'];
  const supply = read('rail.voltage');
  if (value === 0) return { says: 'the board has not been reset', next: null };
  return {
    says:
      supply < level
        ? `the board was reset: its supply of ${formatQuantity(supply, 'voltage')} is below brown-out at ${formatQuantity(level, 'voltage')}`
        : `the board was reset by its watchdog, as its program stood still`,
    next: supply < level ? 'rail.voltage' : null,
  };
};

const tellPin: Explain = ({ value, word, read }) => {
  const clock = read('board.clock');
  return {
    says: `the pin is ${word('board.pin', value)}${clock === 0 ? ', as no program has configured it' : ''}`,
    next: clock === 0 ? 'board.mode' : null,
  };
};

export const board: PartKind = {
  kind: 'board',
  means: 'microcontroller board',
  at: 'board',
  always: true,
  defaults: {},
  parameters: schema,
  ports,
  chart,
  faults,
  explain: {
    clock: tellClock,
    pin: tellPin,
    resets: tellResets,
    mode: (link) => tellClock({ ...link, value: link.read('board.clock') }),
  },
  tells: { along: 'power', ports: ['clock'] },
  make: make as PartKind['make'],
};
