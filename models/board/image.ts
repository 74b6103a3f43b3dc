/**
 * The program of the board as a compiled image: run instruction by instruction with the chip's peripherals, and wired to
 * the bench by its pins. What its registers set up (waveform, divider, conversions) is read off them as they are at work.
 *
 *     seconds = (oscillator ticks at a known cycle + (cycle - that cycle) x divider) / oscillator frequency
 *
 * Source: ATmega48PA/88PA/168PA/328P datasheet 8161D; the instruction set and each peripheral in avr/.
 */
import { setup } from 'xstate';
import { runChart } from '../../sim/chart/run.ts';
import type { Explain, Fault, Host, Live, PartKind, Ports } from '../../sim/kernel/part.ts';
import { AGAINST_WORDS, SOURCE_WORDS } from '../adc-of-chip.ts';
import { FLOATING, LINE_WORDS, LOW, WAVE_WORDS } from '../pwm-pin.ts';
import { POSITION_WORDS } from '../selector.ts';
import { CHIPS } from './avr/chips.ts';
import { writeHex } from './avr/image/hex.ts';
import { translatedEngine } from './avr/translate/engine.ts';
import { HUNG } from './board.ts';
import { type Ahead, createAhead, DID, type Found } from './image/ahead.ts';
import { FILE_KEYS, KEPT_KEYS, type Parameters, parameters, takeFiles } from './image/parameters.ts';
import { channelOf, pinOf, portName } from './image/pins.ts';
import { type PlaceOf, placesIn } from './image/place.ts';
import { findingWords } from './image/says.ts';
import { steps, TEXT_MOST } from './serial-in.ts';

export { parameters, steps };

export const ports = {
  in: {
    clock: { means: 'the oscillator; 0 stops the program', from: () => 'board.clock' },
    count: { means: 'result of a conversion', from: () => 'adc.count' },
    supply: { means: 'rail that feeds the chip', from: () => 'rail.voltage', wakes: false },
    program: { means: 'whether the program stands still', from: () => 'board.program' },
    position: {
      means: 'selector position',
      from: ({ partNames }) => (partNames.has('selector') ? 'selector.position' : undefined),
    },
    line: {
      means: "pulse line of the radio receiver's channel",
      from: ({ partNames }) => (partNames.has('receiver') ? 'receiver.line' : undefined),
    },
  },
  out: {
    hold: { means: 'conversions whose input has been held', dimension: 'count' },
    result: { means: 'conversions that have ended', dimension: 'count' },
    source: { means: "what the converter's multiplexer is set to", dimension: 'count', words: SOURCE_WORDS },
    against: { means: 'reference that the program has chosen', dimension: 'count', words: AGAINST_WORDS },
    settling: { means: "how long the converter's input was connected", dimension: 'time', quiet: true },
    compare: { means: "value written to the PWM pin's compare register", dimension: 'count' },
    writer: { means: 'address of the instruction that wrote it', dimension: 'count', quiet: true },
    latched: { means: 'compare value at work', dimension: 'count' },
    tick: { means: "tick of the PWM pin's timer; 0 while it stands still", dimension: 'time' },
    top: { means: 'value at which that timer turns', dimension: 'count' },
    wave: { means: 'how that timer counts', dimension: 'count', words: WAVE_WORDS },
    action: { means: 'what a match does to the pin: 0 nothing, 1 toggle, 2 clear, 3 set', dimension: 'count' },
    output: { means: 'what the chip does to the PWM pin', dimension: 'count', words: LINE_WORDS },
    sent: { means: 'the byte that the program has sent last', dimension: 'count', isBytes: true },
    pass: { means: 'time from one control pass to the next', dimension: 'time', quiet: true },
    watchdog: { means: 'resets by the watchdog so far', dimension: 'count' },
  },
} as const satisfies Ports;

interface Program {
  readonly deadlineSeconds: number;
  missDeadline(): void;
}

export const chart = setup({
  types: { context: {} as Program, events: {} as { type: string } },
  actions: { missDeadline: ({ context }) => context.missDeadline() },
  delays: { deadline: ({ context }) => context.deadlineSeconds },
}).createMachine({
  id: 'image',
  context: ({ input }) => input as Program,
  initial: 'stopped',
  on: { 'clock stopped': '.stopped' },
  states: {
    stopped: { on: { 'clock running': 'starting' } },
    // Until its first pass a program may take its time: it sets itself up.
    starting: { on: { pass: 'running' } },
    running: { on: { pass: { target: 'running', reenter: true } }, after: { deadline: 'late' } },
    late: { entry: 'missDeadline', on: { pass: 'running' } },
  },
});

export const faults = {} as const satisfies Readonly<Record<string, Fault>>;

/** Longest stretches that the chip runs ahead: long enough to be worth it, short enough to be thrown away when a pin changes. */
const SLICE_SECONDS = 2e-3;
const SLICE_SECONDS_UNDISTURBED = 20e-3;
/** A program that has not made its pin an output by then is told of: common practice, no source. */
const PIN_SECONDS = 0.25;
/** Below this the chip forgets that it was ever on (8161D table 28-4, power-on threshold, falling, typical). */
const POWER_ON_VOLTS = 1.3;

function make(host: Host, numbers: Parameters): Live {
  const state = {
    hertz: 0,
    /** Oscillator ticks since time 0 at `baseCycle`, and CPU cycles counted from there. */
    baseTick: 0,
    baseCycle: 0,
    divider: 1,
    dueCycle: 0,
    startedSeconds: 0,
    isAwaiting: false,
    wasWatchdog: false,
    wasUnpowered: true,
    holdCount: 0,
    resultCount: 0,
    watchdogCount: 0,
    passSeconds: -1,
    text: new Uint8Array(TEXT_MOST),
    textFrom: 0,
    textTo: 0,
  };
  const { now, values, out, bits } = host;
  const image = numbers.image();
  const placeOf = placesIn(image);
  const pin = pinOf(numbers.pins.pwm);
  const channel = channelOf(numbers.pins.pwm);
  const pedalChannel = Number(numbers.pins.pedal.slice(3));
  const contacts = Object.entries(numbers.pins.selector ?? {}).flatMap(([word, name]) =>
    name === undefined ? [] : [{ position: POSITION_WORDS.indexOf(word as 'low'), ...pinOf(name) }],
  );
  const receiver = numbers.pins.receiver === undefined ? undefined : pinOf(numbers.pins.receiver);
  const sliceSeconds = receiver === undefined && contacts.length === 0 ? SLICE_SECONDS_UNDISTURBED : SLICE_SECONDS;
  const passCode = numbers['control-pass']?.mark === 'conversion' ? DID.converts : DID.written;

  const cpuHertz = (): number => state.hertz / state.divider;
  const timeOf = (cycle: number): number => (state.baseTick + (cycle - state.baseCycle) * state.divider) / state.hertz;
  /** The first cycle that starts at the present instant or after it. */
  const cycleNow = (): number =>
    state.baseCycle + Math.max(0, Math.ceil((now[0]! * state.hertz - state.baseTick) / state.divider - 1e-6));

  const ahead: Ahead = createAhead({
    chip: CHIPS[numbers.chip],
    image,
    pin,
    channel,
    engine: translatedEngine,
    settings: {
      eeprom: image.eeprom,
      isClockDivided: numbers.fuses['clock-by-8'],
      isWatchdogAlwaysOn: numbers.fuses['watchdog-on'],
      wakeCycles: numbers['wake-up'],
      hertz: cpuHertz,
    },
    world: {
      watchdogCycles: () => (state.hertz === 0 ? 1 : cpuHertz() / numbers['watchdog-clock']),
      hold: (number, reference, settlingCycles) => {
        const source = number === pedalChannel ? 'pedal' : (CHANNEL_SOURCES[number] ?? 'open');
        host.update(out.source!, SOURCE_WORDS.indexOf(source));
        host.update(out.against!, reference);
        host.note(out.settling!, settlingCycles / cpuHertz());
        state.holdCount += 1;
        host.emit(out.hold!, state.holdCount);
      },
    },
  });
  host.attach({ state: ahead.state, restored: () => ahead.restored() });

  const run = runChart(host, chart, {
    deadlineSeconds: numbers['control-pass']?.deadline ?? Number.POSITIVE_INFINITY,
    missDeadline: () => tellLate(),
  } satisfies Program);
  const events = {
    stopped: run.event('clock stopped'),
    running: run.event('clock running'),
    pass: run.event('pass'),
  };

  const tell = (code: number, value: number): void => {
    switch (code) {
      case DID.output:
        host.update(out.output!, value);
        break;
      case DID.writer:
        host.note(out.writer!, value);
        break;
      case DID.written:
        host.blame(host.in.count!);
        host.emit(out.compare!, value);
        break;
      case DID.latched:
        host.blame(out.compare!);
        host.update(out.latched!, value);
        break;
      case DID.divider:
        host.update(out.tick!, value / cpuHertz());
        break;
      case DID.top:
        host.update(out.top!, value);
        break;
      case DID.wave:
        host.update(out.wave!, value);
        break;
      case DID.action:
        host.update(out.action!, value);
        break;
      case DID.sent:
        host.emit(out.sent!, value);
        break;
      case DID.found:
        tellFound(ahead.found[value]!);
        break;
      default:
    }
    if (code === passCode) passed();
  };
  const tellFound = (found: Found): void => host.finding(`${found.code} ${found.pc}`, findingWords(found, placeOf));
  const passed = (): void => {
    if (state.passSeconds >= 0) host.note(out.pass!, now[0]! - state.passSeconds);
    state.passSeconds = now[0]!;
    run.send(events.pass);
  };
  /** The chart's deadline has come: where is the program instead? */
  const tellLate = (): void => {
    ahead.cut(cycleNow());
    const { pc } = ahead.core.registers();
    const place = ahead.core.isAsleep() ? `asleep after ${placeOf(pc)}` : `in ${placeOf(pc)}`;
    const mark =
      passCode === DID.converts ? 'start of a conversion' : `write to ${channel?.register ?? 'the compare register'}`;
    host.finding(
      'deadline-missed',
      `no ${mark} for ${numbers['control-pass']!.deadline * 1000} ms: the program is ${place}`,
    );
    if (ahead.bus.usart.isFull())
      host.finding(
        'serial-blocks',
        `UDR0: the control pass waits for the serial port, whose bytes take ${((ahead.bus.usart.bitCycles() * 10) / cpuHertz()) * 1000} ms each: the program is ${place}`,
      );
    setTimer();
  };

  const timer = host.timer(() => {
    ahead.publish(state.dueCycle, tell);
    if (state.dueCycle >= ahead.state.end) atEnd();
    else setTimer();
  });
  const setTimer = (): void => {
    if (state.isAwaiting) return;
    state.dueCycle = ahead.nextCycle();
    host.wake(timer, Math.max(timeOf(state.dueCycle), now[0]!));
  };
  /** The bench has come to where the chip's slice ends. */
  const atEnd = (): void => {
    const stop = ahead.bus.waitsFor();
    if (stop === 'result') {
      // The converter part answers at this same instant.
      state.isAwaiting = true;
      state.resultCount += 1;
      host.emit(out.result!, state.resultCount);
    } else if (stop === 'reset') resetByWatchdog();
    else goOn(0);
  };
  const resetByWatchdog = (): void => {
    state.wasWatchdog = true;
    state.isAwaiting = true;
    state.watchdogCount += 1;
    const { pc } = ahead.core.registers();
    host.finding(`watchdog-reset ${pc}`, `WDTCSR: the watchdog ran out and resets the chip, in ${placeOf(pc)}`);
    // The board takes the clock away, and gives it back after its start-up time.
    host.emit(out.watchdog!, state.watchdogCount);
  };
  const goOn = (count: number): void => {
    const stop = ahead.bus.waitsFor();
    if (stop === 'clock') rebase();
    ahead.pass(stop, count, state.dueCycle, tell);
    ahead.hang(host.in.program! >= 0 && values[host.in.program!]! === HUNG);
    applyInputs();
    feedText();
    lookAtPin();
    ahead.run(ahead.core.cycle() + Math.max(1, Math.round(sliceSeconds * cpuHertz())));
    setTimer();
  };
  /** From the present cycle on the CPU clock is another one. */
  const rebase = (): void => {
    const cycle = ahead.core.cycle();
    state.baseTick += (cycle - state.baseCycle) * state.divider;
    state.baseCycle = cycle;
    state.divider = ahead.bus.divider();
  };
  const applyInputs = (): void => {
    const cycle = ahead.core.cycle();
    const { ports: chipPorts } = ahead.bus;
    if (receiver !== undefined && host.in.line! >= 0)
      chipPorts.drive(receiver.port, receiver.bit, values[host.in.line!]!, cycle);
    const position = host.in.position! >= 0 ? values[host.in.position!]! : -1;
    for (const contact of contacts)
      chipPorts.drive(contact.port, contact.bit, position === contact.position ? LOW : FLOATING, cycle);
  };
  const feedText = (): void => {
    const { usart } = ahead.bus;
    if (state.textFrom === state.textTo || usart.isReceiving()) return;
    const rate = numbers['serial-rate'];
    usart.receive(
      state.text[state.textFrom]!,
      rate === undefined ? usart.bitCycles() : cpuHertz() / rate,
      ahead.core.cycle(),
    );
    state.textFrom += 1;
  };
  const lookAtPin = (): void => {
    if (now[0]! - state.startedSeconds < PIN_SECONDS || ahead.bus.ports.isOutput(pin.port, pin.bit)) return;
    const { pc } = ahead.core.registers();
    host.finding(
      'pin-not-an-output',
      `DDR${'BCD'[pin.port]}: ${portName(pin)} is not an output ${PIN_SECONDS * 1000} ms after the start, so the controllers hear nothing; the program is in ${placeOf(pc)}`,
    );
  };

  const begin = (): void => {
    state.baseTick = Math.ceil(now[0]! * state.hertz - 1e-6);
    state.baseCycle = ahead.core.cycle();
    state.dueCycle = state.baseCycle;
    state.startedSeconds = now[0]!;
    state.isAwaiting = false;
    state.passSeconds = -1;
    ahead.bus.resetBy(state.wasWatchdog ? 'watchdog' : state.wasUnpowered ? 'power-on' : 'brown-out');
    state.divider = numbers.fuses['clock-by-8'] ? 8 : 1;
    state.wasWatchdog = false;
    state.wasUnpowered = false;
    run.send(events.running);
    goOn(0);
  };
  const end = (): void => {
    state.wasUnpowered = values[host.in.supply!]! < POWER_ON_VOLTS;
    if (!state.isAwaiting) ahead.cut(cycleNow());
    host.sleep(timer);
    run.send(events.stopped);
    host.update(out.output!, FLOATING);
  };

  return {
    state,
    start: () => {
      run.start();
      host.update(out.output!, FLOATING);
    },
    input: (changed) => {
      if (changed & bits.clock!) {
        const wasOn = state.hertz > 0;
        if (wasOn) end();
        state.hertz = values[host.in.clock!]!;
        if (state.hertz > 0) begin();
        return;
      }
      if (state.hertz === 0) return;
      if (state.isAwaiting) {
        if ((changed & bits.count!) === 0) return;
        state.isAwaiting = false;
        goOn(values[host.in.count!]!);
      } else if (changed & (bits.position! | bits.line! | bits.program!)) {
        ahead.cut(cycleNow());
        setTimer();
      }
    },
    command: (_form, contents) => {
      const { receive } = contents as { receive: string };
      if (state.textFrom === state.textTo) {
        state.textFrom = 0;
        state.textTo = 0;
      }
      for (const character of receive)
        if (state.textTo < TEXT_MOST) state.text[state.textTo++] = character.charCodeAt(0);
      if (state.hertz === 0 || state.isAwaiting) return;
      ahead.cut(cycleNow());
      setTimer();
    },
    fault: () => {
      // A program does what it was told.
    },
    kept: {
      eeprom: () => {
        // What the chip has done ahead of the bench has not happened yet.
        if (state.hertz > 0 && !state.isAwaiting) {
          ahead.cut(cycleNow());
          setTimer();
        }
        return writeHex(ahead.bus.eeprom.bytes);
      },
    },
  };
}

/** Channels of the multiplexer that are not pins (8161D table 23-4). */
const CHANNEL_SOURCES: Readonly<Record<number, (typeof SOURCE_WORDS)[number]>> = {
  8: 'temperature',
  14: 'bandgap',
  15: 'ground',
};

const placeTables = new WeakMap<object, PlaceOf>();

const tellCompare: Explain = ({ parameters: raw, read, value, wanted }) => {
  const numbers = raw as Parameters;
  const image = numbers.image();
  const placeOf = placeTables.get(image) ?? placesIn(image);
  placeTables.set(image, placeOf);
  const register = channelOf(numbers.pins.pwm)?.register ?? 'the compare register';
  const says = `the program stored ${value} (0x${value.toString(16)}) in ${register}, in ${placeOf(read('firmware.writer'))}, with count ${read('adc.count')} as the latest`;
  if (wanted === undefined) return { says, next: 'adc.count' };
  const range = wanted.least === wanted.most ? `${wanted.least}` : `${wanted.least} to ${wanted.most}`;
  return { says: `${says}; ${range} would ${wanted.to}`, next: 'adc.count' };
};

export const image: PartKind = {
  kind: 'firmware',
  means: 'program of the board: a compiled image',
  at: 'board.firmware',
  variant: 'image',
  parameters,
  files: { keys: FILE_KEYS, kept: KEPT_KEYS, take: takeFiles as unknown as NonNullable<PartKind['files']>['take'] },
  ports,
  chart,
  faults,
  steps,
  explain: {
    compare: tellCompare,
    latched: ({ value }) => ({ says: `the timer works with compare ${value}`, next: 'firmware.compare' }),
    output: ({ value, word }) => ({
      says: `the chip's PWM pin is ${word('firmware.output', value)}`,
      next: 'firmware.compare',
    }),
  },
  tells: { along: 'signal', ports: ['compare', 'pass'] },
  make: make as PartKind['make'],
};
