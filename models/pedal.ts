/**
 * Foot pedal: travel (0 to 1) in, signal volts out.
 *
 *     sensed' = (travel - sensed) / lag            exact between events, travel moving along a ramp
 *     hall     signal = rest + sensed * (full - rest), in proportion to the supply when ratiometric
 *     pot      the same, always in proportion; the track's resistance gives the source impedance
 *     switch   signal = supply once travel passes the switching point, else 0, with contact bounce from then on
 *     replay   signal = a capture's volts, straight from sample to sample, the first before it and the last after it,
 *              within the supply; travel is what that voltage tells by rest and full
 *
 * Open-wire levels of a hall sensor (5 V, 10 to 200 kohm load): open supply 0 to 0.15 V, open ground 4.85 to 5.0 V
 * (Micronas HAC 830 data sheet DSH000178_001EN, section 4.8). All other numbers are the builder's own measurements.
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../sim/chart/run.ts';
import type { Explain, Fault, Host, Live, PartKind, Ports, StepForm } from '../sim/kernel/part.ts';
import { formatQuantity, ohms, perSecond, ratio, type Settled, seconds, volts } from '../sim/units/index.ts';
import { makeReplay } from './pedal-replay.ts';
import { type CapturedLine, REPLAY_KEYS, type Replayed, takeVolts, voltsShape } from './replay.ts';

const signalShape = {
  rest: volts({
    min: 0,
    max: 30,
    means: 'signal with the foot off, at the supply given by `at`',
    example: '0.91 V ± 40 mV',
  }).prefault('0.9 V'),
  full: volts({
    min: 0,
    max: 30,
    means: 'signal with the pedal pressed home, at the supply given by `at`',
    example: '4.08 V ± 60 mV',
  }).prefault('4.1 V'),
  at: volts({ above: 0, max: 30, means: 'supply at which rest and full were measured', example: '5 V' }).prefault(
    '5 V',
  ),
  noise: volts({ min: 0, max: 2, means: 'noise on the signal, standard deviation', example: '6 mV' }).prefault('0 V'),
  lag: seconds({ min: 0, max: 5, means: 'time constant of the sensor and its filter', example: '3 ms' }).prefault(
    '0 s',
  ),
  ...voltsShape,
};

const hall = z
  .strictObject({
    // May be left out beside `replay` only, which `withKind` sees to and the JSON Schema says below.
    kind: z.literal('hall').describe('hall-effect sensor: gives a voltage'),
    ...signalShape,
    ratiometric: z.boolean().prefault(false).describe('the signal is in proportion to the supply'),
    impedance: ohms({
      min: 0,
      max: 1e6,
      means: 'output resistance of the sensor with its series resistor',
      example: '1 kohm',
    }).prefault('1 kohm'),
  })
  .meta({ required: [], anyOf: [{ required: ['kind'] }, { required: ['replay'] }] });

const pot = z.strictObject({
  kind: z.literal('pot').describe('potentiometer across the supply'),
  ...signalShape,
  track: ohms({ min: 100, max: 1e7, means: 'resistance of the track from end to end', example: '10 kohm' }).prefault(
    '10 kohm',
  ),
});

const toggle = z.strictObject({
  kind: z.literal('switch').describe('on-off switch to the supply'),
  point: ratio({ above: 0, below: 1, means: 'travel at which the contact closes', example: '50 %' }).prefault('50 %'),
  bounce: seconds({ min: 0, max: 0.1, means: 'how long the contact bounces', example: '3 ms' }).prefault('0 s'),
  impedance: ohms({
    min: 0,
    max: 1e6,
    means: 'resistance of the contact and its pull resistor',
    example: '10 kohm',
  }).prefault('10 kohm'),
});

/** Of a pedal that is replayed it need not be said what it is: it gives a voltage, as a hall sensor does. */
function withKind(section: unknown): unknown {
  const isReplay = typeof section === 'object' && section !== null && 'replay' in section && !('kind' in section);
  return isReplay ? { kind: 'hall', ...section } : section;
}

export const parameters = z.preprocess(withKind, z.discriminatedUnion('kind', [hall, pot, toggle]));
type Sensor = Settled<z.output<typeof hall> | z.output<typeof pot>> & Replayed<CapturedLine>;
type Parameters = Sensor | Settled<z.output<typeof toggle>>;

export const ports = {
  in: { supply: { means: 'rail that feeds the pedal', from: () => 'rail.voltage' } },
  out: {
    travel: { means: 'how far the pedal is pressed, 0 to 1', dimension: 'ratio', kind: 'ramp' },
    voltage: { means: 'signal voltage, without noise or bounce', dimension: 'voltage', kind: 'flowing' },
    signal: {
      means: 'signal voltage as a sampler finds it, noise included',
      dimension: 'voltage',
      kind: 'flowing',
      drawn: true,
    },
    impedance: {
      means: 'source resistance of the signal; infinite when the wire is open',
      dimension: 'resistance',
      kind: 'flowing',
    },
  },
} as const satisfies Ports;

interface Wiring {
  holdVoltage(): void;
  startDrift(): void;
  drawContact(): number;
}

/** Every fault is a state beside `intact`; a second fault takes the place of the first. */
export const chart = setup({
  types: { context: {} as Wiring, events: {} as { type: string } },
  actions: {
    holdVoltage: ({ context }) => context.holdVoltage(),
    startDrift: ({ context }) => context.startDrift(),
  },
  delays: { contact: ({ context }) => context.drawContact() },
}).createMachine({
  id: 'pedal',
  context: ({ input }) => input as Wiring,
  initial: 'intact',
  on: {
    'signal-open': '.signal-open',
    'shorted-to-ground': '.shorted-to-ground',
    'shorted-to-supply': '.shorted-to-supply',
    'supply-open': '.supply-open',
    'ground-open': '.ground-open',
    stuck: '.stuck',
    chattering: '.chattering',
    drifting: '.drifting',
  },
  states: {
    intact: {},
    'signal-open': { on: { 'mend signal-open': 'intact' } },
    'shorted-to-ground': { on: { 'mend shorted-to-ground': 'intact' } },
    'shorted-to-supply': { on: { 'mend shorted-to-supply': 'intact' } },
    'supply-open': { on: { 'mend supply-open': 'intact' } },
    'ground-open': { on: { 'mend ground-open': 'intact' } },
    stuck: { entry: 'holdVoltage', on: { 'mend stuck': 'intact' } },
    chattering: {
      initial: 'open',
      on: { 'mend chattering': 'intact' },
      states: { open: { after: { contact: 'closed' } }, closed: { after: { contact: 'open' } } },
    },
    drifting: { entry: 'startDrift', on: { 'mend drifting': 'intact' } },
  },
});

/**
 * Sensed travel `elapsedSeconds` after an instant at which travel was `travel` and the sensor showed `sensed`, while
 * travel changes by `slope` a second: the exact response of a first-order lag to a ramp. `lagSeconds` 0 means no lag.
 */
export function laggedTravel(
  sensed: number,
  travel: number,
  slope: number,
  elapsedSeconds: number,
  lagSeconds: number,
): number {
  const behind = slope * lagSeconds;
  const moved = travel + slope * elapsedSeconds - behind;
  // After 40 time constants (e^-40 = 4e-18) nothing of the old reading is left in a float64.
  return elapsedSeconds >= 40 * lagSeconds
    ? moved
    : moved + (sensed - travel + behind) * Math.exp(-elapsedSeconds / lagSeconds);
}

/** Signal of a proportional sensor in volts, clipped to its supply. */
export function signalVolts(
  sensed: number,
  restVolts: number,
  fullVolts: number,
  supplyVolts: number,
  atVolts: number,
  isRatiometric: boolean,
): number {
  const scale = isRatiometric ? supplyVolts / atVolts : 1;
  const volts = (restVolts + sensed * (fullVolts - restVolts)) * scale;
  return Math.min(Math.max(volts, 0), supplyVolts);
}

/** Source resistance of a potentiometer's wiper at `fraction` of the track: the two parts in parallel. */
export function wiperOhms(fraction: number, trackOhms: number): number {
  return fraction * (1 - fraction) * trackOhms;
}

const fault = (name: string, means: string): Fault => ({ enter: name, leave: `mend ${name}`, means });

export const faults = {
  'signal-open': fault('signal-open', 'signal wire open; the pin floats or follows its pull resistor'),
  'shorted-to-ground': fault('shorted-to-ground', 'signal wire shorted to ground'),
  'shorted-to-supply': fault('shorted-to-supply', 'signal wire shorted to the supply'),
  'supply-open': fault('supply-open', 'supply wire open; the output sinks to the ground side'),
  'ground-open': fault('ground-open', 'ground wire open; the output rises to the supply side'),
  stuck: fault('stuck', 'the signal stays where it is'),
  chattering: fault('chattering', 'the signal wire opens and closes at random'),
  drifting: {
    ...fault('drifting', 'the signal wanders off steadily'),
    amount: {
      schema: perSecond({
        min: -10,
        max: 10,
        means: 'drift of the signal, as a share of a volt per second',
        example: '0.02 1/s',
      }),
      default: 0.02,
    },
  },
} as const satisfies Readonly<Record<string, Fault>>;

export const steps = {
  press: {
    means: 'press the pedal to a travel, at once or over a time',
    schema: z.strictObject({
      press: ratio({ min: 0, max: 1, means: 'travel to press to', example: '100 %' }),
      over: seconds({ min: 0, means: 'how long the movement takes', example: '1 s' }).prefault('0 s'),
    }),
  },
  release: {
    means: 'take the foot off, at once or over a time',
    bare: true,
    schema: z.strictObject({ release: seconds({ min: 0, means: 'how long the release takes', example: '0.2 s' }) }),
  },
} as const satisfies Readonly<Record<string, StepForm>>;

/** Mean open and closed times of a chattering contact: an assumption of ours, common practice, no source. */
const CHATTER_MEAN_SECONDS = 0.015;
const SENSOR_OPEN_SUPPLY_SHARE = 0.015;
const SENSOR_OPEN_GROUND_SHARE = 0.985;

function make(host: Host, numbers: Parameters): Live {
  const state = {
    anchorSeconds: 0,
    travel: 0,
    slope: 0,
    sensed: 0,
    target: 0,
    heldVolts: 0,
    driftSeconds: 0,
    driftPerSecond: 0.02,
    bouncesFrom: 0,
    bouncesUntil: 0,
  };
  const { now, values, out } = host;
  const replay =
    numbers.kind === 'switch' || numbers.captured === undefined
      ? undefined
      : makeReplay(host, numbers.captured(), numbers);
  const travelOut = out.travel!;
  const voltageOut = out.voltage!;
  const signalOut = out.signal!;
  const impedanceOut = out.impedance!;
  const supplyIn = host.in.supply!;
  const noise = host.stream('noise');
  const { drawn } = noise;
  const contact = host.stream('contact');
  const lagSeconds = numbers.kind === 'switch' ? 0 : numbers.lag;
  // What is captured has its noise in it.
  const noiseVolts = numbers.kind === 'switch' || replay !== undefined ? 0 : numbers.noise;
  const travelNow = (): number => (replay === undefined ? movedTravel() : replay.travel());
  const movedTravel = (): number => state.travel + state.slope * (now[0]! - state.anchorSeconds);
  const sensedNow = (): number =>
    laggedTravel(state.sensed, state.travel, state.slope, now[0]! - state.anchorSeconds, lagSeconds);

  const [restVolts, fullVolts, atVolts] =
    numbers.kind === 'switch' ? [0, 0, 1] : [numbers.rest, numbers.full, numbers.at];
  const isSensing = numbers.kind !== 'switch' && replay === undefined;
  const isRatiometric = numbers.kind === 'pot' || (numbers.kind === 'hall' && numbers.ratiometric);
  const healthyVolts = (): number => {
    const supplyVolts = values[supplyIn]!;
    if (replay !== undefined) return Math.min(Math.max(replay.volts(), 0), supplyVolts);
    if (numbers.kind !== 'switch')
      return signalVolts(sensedNow(), restVolts, fullVolts, supplyVolts, atVolts, isRatiometric);
    return travelNow() >= numbers.point ? supplyVolts : 0;
  };
  const healthyOhms = (): number =>
    numbers.kind === 'pot'
      ? wiperOhms(values[voltageOut]! / Math.max(values[supplyIn]!, 1e-9), numbers.track)
      : numbers.impedance;

  const wiring: Wiring = {
    holdVoltage: () => {
      host.sample(supplyIn);
      state.heldVolts = healthyVolts();
    },
    startDrift: () => {
      state.driftSeconds = now[0]!;
    },
    drawContact: () => -CHATTER_MEAN_SECONDS * Math.log(1 - contact.uniform()),
  };
  const run = runChart(host, chart, wiring);
  const leaf = (name: string): number => run.table.leaves.indexOf(name);
  const intact = leaf('intact');
  const stuck = leaf('stuck');
  const drifting = leaf('drifting');
  const toGround = leaf('shorted-to-ground');
  const toSupply = leaf('shorted-to-supply');
  const supplyOpen = leaf('supply-open');
  const groundOpen = leaf('ground-open');
  const isOpen = Uint8Array.from(run.table.leaves, (name) =>
    name === 'signal-open' || name === 'chattering.open' ? 1 : 0,
  );

  const voltage = (): number => {
    const { mode } = run.state;
    if (mode === intact) return healthyVolts();
    const supplyVolts = values[supplyIn]!;
    if (mode === stuck) return Math.min(state.heldVolts, supplyVolts);
    if (mode === toGround) return 0;
    if (mode === toSupply) return supplyVolts;
    if (mode === supplyOpen) return numbers.kind === 'hall' ? SENSOR_OPEN_SUPPLY_SHARE * supplyVolts : 0;
    if (mode === groundOpen) return numbers.kind === 'hall' ? SENSOR_OPEN_GROUND_SHARE * supplyVolts : supplyVolts;
    if (mode === drifting) {
      const driftedVolts = healthyVolts() + state.driftPerSecond * (now[0]! - state.driftSeconds);
      return Math.min(Math.max(driftedVolts, 0), supplyVolts);
    }
    return healthyVolts();
  };
  const sampleSupply = host.samplerOf(supplyIn);
  const sampleVoltage = (): void => {
    sampleSupply?.();
    // The usual case apart, so that its number need not be returned, and boxed, by a function that knows every fault.
    if (run.state.mode === intact && isSensing) {
      values[voltageOut] = signalVolts(sensedNow(), restVolts, fullVolts, values[supplyIn]!, atVolts, isRatiometric);
    } else values[voltageOut] = voltage();
  };
  const isShorted = (): boolean => run.state.mode === toGround || run.state.mode === toSupply;
  /** What a sampler finds while the contact bounces. Drawn here only, since a recorder may ask for the voltage too. */
  const bouncedVolts = (): number => {
    const isBouncing = run.state.mode === intact && now[0]! >= state.bouncesFrom && now[0]! < state.bouncesUntil;
    return isBouncing && contact.uniform() < 0.5 ? values[supplyIn]! - values[voltageOut]! : values[voltageOut]!;
  };

  /** Starts a new straight piece of travel at the present instant. */
  const turn = (target: number, overSeconds: number): void => {
    state.sensed = sensedNow();
    state.travel = travelNow();
    state.anchorSeconds = now[0]!;
    host.emit(travelOut, state.travel);
    state.target = target;
    planBounce(state.travel, target, overSeconds);
    if (overSeconds === 0) {
      arrive();
    } else {
      state.slope = (target - state.travel) / overSeconds;
      host.wake(arrival, now[0]! + overSeconds);
    }
  };
  /** A contact bounces from the instant at which travel passes the switching point. */
  const planBounce = (from: number, target: number, overSeconds: number): void => {
    if (numbers.kind !== 'switch' || from >= numbers.point === target >= numbers.point) return;
    state.bouncesFrom = now[0]! + (overSeconds * (numbers.point - from)) / (target - from);
    state.bouncesUntil = state.bouncesFrom + numbers.bounce;
  };
  const arrive = (): void => {
    state.sensed = sensedNow();
    state.travel = state.target;
    state.slope = 0;
    state.anchorSeconds = now[0]!;
    host.emit(travelOut, state.travel);
  };
  const arrival = host.timer(arrive);

  return {
    state,
    start: () => {
      run.start();
      if (replay === undefined) host.emit(travelOut, 0);
      else replay.start();
    },
    input: () => {
      // The supply is read when the signal is sampled; its changes need no act of the pedal.
    },
    command: (form, contents) => {
      if (replay !== undefined) {
        host.finding('foot-replayed', `it replays ${(numbers as Sensor).replay}, so that a foot moves nothing`);
        return;
      }
      host.sleep(arrival);
      if (form === 'release') turn(0, (contents as { release?: number } | undefined)?.release ?? 0);
      else turn((contents as { press: number }).press, (contents as { over: number }).over);
    },
    fault: (event, amount) => {
      if (event === 'drifting') state.driftPerSecond = amount;
      run.send(run.event(event));
    },
    samplers: {
      travel: () => {
        values[travelOut] = travelNow();
      },
      voltage: sampleVoltage,
      signal: () => {
        // Only a cause asks how the foot stood at this instant.
        if (host.isTraced) host.sample(travelOut);
        sampleVoltage();
        // A short to a supply is stiff: the sensor's noise does not get through.
        if (numbers.kind === 'switch' || noiseVolts === 0 || isOpen[run.state.mode] === 1 || isShorted())
          values[signalOut] = bouncedVolts();
        else {
          noise.drawNormal();
          values[signalOut] = values[voltageOut]! + noiseVolts * drawn[0]!;
        }
      },
      impedance: () => {
        if (numbers.kind === 'pot') sampleVoltage();
        values[impedanceOut] =
          isOpen[run.state.mode] === 1 ? Number.POSITIVE_INFINITY : isShorted() ? 0 : healthyOhms();
      },
    },
  };
}

const tellVoltage: Explain = ({ parameters: raw, read, word, value, seconds: at }) => {
  const numbers = raw as Parameters;
  const mode = word('pedal.mode', read('pedal.mode'));
  const travel = formatQuantity(read('pedal.travel'), 'ratio');
  const volts = formatQuantity(value, 'voltage');
  if (mode !== 'intact')
    return {
      says: `pedal at ${travel} travel gives ${volts}: ${faults[mode.split('.')[0] as keyof typeof faults].means}`,
      next: 'pedal.mode',
    };
  if (numbers.kind !== 'switch' && numbers.replay !== undefined)
    return { says: `pedal replays ${numbers.replay}: ${volts}, which tells ${travel} travel`, next: null };
  const rest =
    numbers.kind === 'switch'
      ? ''
      : `, rest ${formatQuantity(numbers.rest, 'voltage')}, full ${formatQuantity(numbers.full, 'voltage')}`;
  return { says: `pedal at ${travel} travel gives ${volts}${rest}`, next: at > 0 ? 'pedal.travel' : null };
};

export const pedal: PartKind = {
  kind: 'pedal',
  means: 'foot pedal',
  at: 'pedal',
  always: true,
  defaults: { kind: 'hall' },
  parameters,
  files: { keys: REPLAY_KEYS, take: takeVolts as never },
  ports,
  chart,
  faults,
  steps,
  explain: {
    voltage: tellVoltage,
    signal: tellVoltage,
    travel: ({ value }) => ({ says: `the foot holds the pedal at ${formatQuantity(value, 'ratio')}`, next: null }),
    mode: ({ value, word }) => ({ says: `the pedal is ${word('pedal.mode', value)}`, next: null }),
  },
  tells: { along: 'signal', ports: ['travel', 'voltage'] },
  roles: { travel: 'foot' },
  // A foot takes about a tenth of a second from one position to the next.
  handle: { kind: 'lever', form: 'press', least: 0, most: 1, beside: { over: '100 ms' }, port: 'travel' },
  make: make as PartKind['make'],
};
