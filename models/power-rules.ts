/**
 * Rules between values of the power side: parts that are right each for itself but cannot work together. A rule looks at
 * the middles of the quantities. Errors are benches that cannot be; warnings are what will surprise their builder.
 */
import type { PartKind } from '../sim/kernel/part.ts';
import { formatQuantity, nominal } from '../sim/units/index.ts';
import { type BatteryNumbers, openVolts, seriesOhms } from './battery.ts';
import type { Parameters as Controller } from './controller/parameters.ts';
import type { HarnessNumbers } from './harness.ts';
import type { MotorNumbers } from './motor.ts';
import type { RailNumbers } from './rail.ts';
import type { RuleFinding } from './rules.ts';
import type { VehicleNumbers } from './vehicle.ts';
import { cableOhms, wireAmps } from './wire.ts';

interface DescribedPart {
  readonly name: string;
  readonly kind: PartKind;
  readonly path: readonly string[];
  readonly parameters: unknown;
}

interface Fed {
  readonly path: readonly string[];
  readonly name: string;
  readonly numbers: Controller;
  readonly motor: { readonly path: readonly string[]; readonly numbers: MotorNumbers } | undefined;
}

/** Faster windings than this cannot be followed by steps of the simulation, and no motor has them. */
const LEAST_WINDING_SECONDS = 10e-6;
/** A rotor that follows its winding faster than this is a slip of a unit: real ones take a hundred thousand times as long. */
const LEAST_ROTOR_SECONDS = 10e-9;
/** What warms up faster than this would have the simulation go on in its steps (measured: 500 of them a second at 10 ms). */
const LEAST_HEATING_SECONDS = 0.01;

const volts = (value: number): string => formatQuantity(value, 'voltage');
const amps = (value: number): string => formatQuantity(value, 'current');

export function powerRules(parts: readonly DescribedPart[]): RuleFinding[] {
  const numbers = <T>(kind: string): T | undefined => {
    const part = parts.find((candidate) => candidate.kind.kind === kind);
    return part === undefined ? undefined : (nominal(part.parameters) as T);
  };
  const battery = numbers<BatteryNumbers>('battery');
  const harness = numbers<HarnessNumbers>('harness');
  const rail = numbers<RailNumbers>('rail');
  const board = numbers<{ 'brown-out': number; hysteresis: number }>('board');
  if (battery === undefined || harness === undefined || rail === undefined || board === undefined) return [];
  const fed = parts
    .filter((part) => part.kind.kind === 'controller')
    .map((part): Fed => {
      const motor = parts.find((other) => other.kind.kind === 'motor' && other.name === `motors.${part.name}`);
      return {
        path: part.path,
        name: part.name,
        numbers: nominal(part.parameters) as Controller,
        motor:
          motor === undefined ? undefined : { path: motor.path, numbers: nominal(motor.parameters) as MotorNumbers },
      };
    });
  return [
    ...rising(['battery', 'curve'], battery.curve, 'charge'),
    ...rising(['vehicle', 'profile'], numbers<VehicleNumbers>('vehicle')?.profile, 'distance'),
    ...fuseRules(harness),
    ...loadRules(battery, harness, rail, fed),
    ...fed.flatMap((one) => controllerRules(one, battery)),
    ...railRules(rail, board, battery),
    ...heatRules(rail, fed),
  ];
}

/** Points of a curve must come in order. */
function rising(
  path: readonly string[],
  points: readonly (readonly [number, number])[] | undefined,
  what: string,
): RuleFinding[] {
  const at = points?.findIndex(([value], index) => index > 0 && value <= points[index - 1]![0]) ?? -1;
  if (at < 0) return [];
  return [
    {
      path: [...path, at, 0],
      severity: 'error',
      says: `the ${what} of each point must lie above that of the point before it`,
    },
  ];
}

/** A fuse protects the wire: it must open before the wire is too hot. */
function fuseRules({ main }: HarnessNumbers): RuleFinding[] {
  const carries = wireAmps(main.area);
  if (main.fuse === undefined || main.length === 0 || main.fuse <= carries) return [];
  return [
    {
      path: ['harness', 'main', 'fuse'],
      severity: 'warning',
      says: `the fuse lets ${amps(main.fuse)} flow for ever, more than the ${amps(carries)} that a wire of ${formatQuantity(main.area, 'area')} carries in free air`,
      allowed: `up to ${amps(Math.floor(carries))}, or a thicker wire`,
    },
  ];
}

/** What the battery has left when everything asks for all it may. */
function loadRules(
  battery: BatteryNumbers,
  harness: HarnessNumbers,
  rail: RailNumbers,
  fed: readonly Fed[],
): RuleFinding[] {
  const open = openVolts(battery, battery.charge);
  const inner = seriesOhms(
    battery.resistance,
    battery['resistance-empty'],
    battery.charge,
    battery['per-kelvin'],
    battery.temperature,
  );
  const { main } = harness;
  const source = inner + cableOhms(main) + (main.fuse === undefined ? 0 : main['fuse-resistance']);
  const standing = rail.load + rail.quiescent + fed.reduce((sum, { numbers }) => sum + numbers.power.idle, 0);
  const left = open - source * standing;
  const starved = fed.find(({ numbers }) => left < numbers['least-voltage']);
  if (starved !== undefined)
    return [
      {
        path: ['battery', 'resistance'],
        severity: 'error',
        says: `the battery cannot feed its load: standing still the bench takes ${amps(standing)}, which leaves ${volts(Math.max(0, left))} of ${volts(open)}, and ${starved.name} needs ${volts(starved.numbers['least-voltage'])}`,
      },
    ];
  const most = fed.reduce((sum, one) => sum + mostAmps(one, open), standing);
  const half = open / 2;
  if (open - source * most >= half) return [];
  return [
    {
      path: ['battery', 'resistance'],
      severity: 'warning',
      says: `the drives together may ask for ${amps(most)}, which would leave less than half of ${volts(open)}: battery and harness have ${formatQuantity(source, 'resistance')}`,
      allowed: `up to ${formatQuantity(half / most, 'resistance')} together, or lower current limits`,
    },
  ];
}

/** The greatest current of a drive: its limit, or what its motor takes when it is held fast. */
function mostAmps({ numbers, motor }: Fed, openVolts: number): number {
  if (motor === undefined) return 0;
  return Math.min(numbers.power.limit, openVolts / (motor.numbers.resistance + numbers.power['on-resistance']));
}

function controllerRules({ path, numbers, motor, name }: Fed, battery: BatteryNumbers): RuleFinding[] {
  const found: RuleFinding[] = [];
  const full = openVolts(battery, 1);
  const { thermal } = numbers.power;
  if (numbers.cutoff !== undefined && numbers.cutoff.cut >= full)
    found.push({
      path: [...path, 'cutoff', 'cut'],
      severity: 'error',
      says: `the full battery gives ${volts(full)} without load, so ${name} would cut off at once`,
      allowed: `below ${volts(full)}`,
    });
  if (thermal.derate >= thermal.trip)
    found.push({
      path: [...path, 'power', 'thermal', 'derate'],
      severity: 'error',
      says: `the current limit must begin to fall below the trip temperature of ${formatQuantity(thermal.trip, 'temperature')}`,
    });
  return motor === undefined ? found : [...found, ...motorRules(motor)];
}

/** To three digits, never below: what is told as the least allowed must itself be allowed. */
function roundedUp(value: number): number {
  const unit = 10 ** (Math.floor(Math.log10(value)) - 2);
  return Number((Math.ceil(value / unit - 1e-9) * unit).toPrecision(3));
}

/** Electrical and mechanical time constant of a motor. */
function motorRules({ path, numbers }: NonNullable<Fed['motor']>): RuleFinding[] {
  const { resistance, inductance, inertia, viscous, constant } = numbers;
  const found: RuleFinding[] = [];
  if (inductance / resistance < LEAST_WINDING_SECONDS) {
    const least = formatQuantity(roundedUp(resistance * LEAST_WINDING_SECONDS), 'inductance');
    found.push({
      path: [...path, 'inductance'],
      severity: 'error',
      says: `with ${formatQuantity(resistance, 'resistance')} the current would settle in ${formatQuantity(inductance / resistance, 'time')}, faster than any winding and than the simulation can follow`,
      allowed: `at least ${least}`,
      nearest: least,
    });
  }
  const braking = viscous + constant ** 2 / resistance;
  if (inertia / braking < LEAST_ROTOR_SECONDS) {
    const least = formatQuantity(roundedUp(braking * LEAST_ROTOR_SECONDS), 'inertia');
    found.push({
      path: [...path, 'inertia'],
      severity: 'error',
      says: `with its constant, resistance and viscous friction the rotor would follow in ${formatQuantity(inertia / braking, 'time')}, faster than any motor`,
      allowed: `at least ${least}`,
      nearest: least,
    });
  }
  return found;
}

interface Warming {
  readonly resistance: number;
  readonly capacity: number;
}

/** Thermal time constants of regulator, bridges and windings. */
function heatRules(rail: RailNumbers, fed: readonly Fed[]): RuleFinding[] {
  const warming: (readonly [path: readonly string[], thermal: Warming])[] = [
    [['rail'], rail.thermal],
    ...fed.flatMap(({ path, numbers, motor }) => [
      [[...path, 'power'], numbers.power.thermal] as const,
      ...(motor === undefined ? [] : [[motor.path, motor.numbers.thermal] as const]),
    ]),
  ];
  return warming.flatMap(([path, { resistance, capacity }]): RuleFinding[] => {
    if (resistance * capacity >= LEAST_HEATING_SECONDS) return [];
    const least = formatQuantity(roundedUp(LEAST_HEATING_SECONDS / resistance), 'heat-capacity');
    return [
      {
        path: [...path, 'thermal', 'capacity'],
        severity: 'error',
        says: `with ${formatQuantity(resistance, 'thermal-resistance')} its temperature would settle in ${formatQuantity(resistance * capacity, 'time')}, faster than anything warms and than the simulation can follow`,
        allowed: `at least ${least}`,
        nearest: least,
      },
    ];
  });
}

function railRules(
  rail: RailNumbers,
  board: { readonly 'brown-out': number; readonly hysteresis: number },
  battery: BatteryNumbers,
): RuleFinding[] {
  const found: RuleFinding[] = [];
  const full = openVolts(battery, 1);
  if (board['brown-out'] > 0 && board['brown-out'] + board.hysteresis > rail.voltage)
    found.push({
      path: ['board', 'brown-out'],
      severity: 'error',
      says: `the rail gives ${volts(rail.voltage)}, so the board would never leave its reset`,
      allowed: `below ${volts(rail.voltage - board.hysteresis)}`,
    });
  if (rail.voltage + rail.dropout > full)
    found.push({
      path: ['rail', 'voltage'],
      severity: 'warning',
      says: `the regulator needs ${volts(rail.voltage + rail.dropout)}, and the full battery gives ${volts(full)}: it never regulates`,
    });
  if (rail.load > rail.limit)
    found.push({
      path: ['rail', 'load'],
      severity: 'warning',
      says: `the rail is asked for ${amps(rail.load)} and limits at ${amps(rail.limit)}`,
    });
  return found;
}
