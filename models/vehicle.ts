/**
 * Vehicle: what the drives' pull does to it, on the ground or on stands.
 *
 *     a = (sum of pull - rolling - drag - grade) / (mass + what the gripping drives' rotors add)
 *     rolling = mass x g x cos(slope) x rolling coefficient, against the motion
 *     standing: it stays while |pull - grade| does not exceed rolling and the friction of the gripping drives together
 *     drag    = 1/2 x 1.225 kg/m3 x drag area x v^2          grade = mass x g x sin(atan(grade))
 *
 * Source: gradient force and rolling resistance as in any handbook of vehicle dynamics (check values: x-engineer.org,
 * engineeringtoolbox.com d_1303). Wheels on stands turn freely and the vehicle stands still.
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../sim/chart/run.ts';
import type { Explain, Fault, Host, Live, PartKind, Ports, StepForm } from '../sim/kernel/part.ts';
import { formatQuantity, kilograms, metres, ratio, type Settled, squareMetres } from '../sim/units/index.ts';

const grade = ratio({ min: -1, max: 1, means: 'slope, rise over run', example: '8 %' });

export const parameters = z.strictObject({
  mass: kilograms({ min: 0.1, max: 5000, means: 'mass with rider and load', example: '140 kg' }).prefault('100 kg'),
  wheel: metres({ min: 0.01, max: 2, means: 'radius of the driven wheels', example: '0.16 m' }).prefault('0.15 m'),
  rolling: ratio({ min: 0, max: 1, means: 'rolling resistance coefficient', example: '0.03' }).prefault(0.02),
  drag: squareMetres({ min: 0, max: 10, means: 'drag coefficient times frontal area', example: '0.5 m2' }).prefault(
    '0.5 m2',
  ),
  grade: grade.prefault('0 %'),
  profile: z
    .array(z.tuple([metres({ means: 'distance from the start', example: '20 m' }), grade]))
    .max(1000)
    .optional()
    .describe('slope from a distance on, rising: [[0 m, 0 %], [20 m, 8 %]]; takes the place of grade'),
  grip: ratio({ min: 0.01, max: 2, means: 'friction coefficient of tyres and ground', example: 0.6 }).prefault(0.6),
  'driven-share': ratio({
    min: 0.01,
    max: 1,
    means: 'share of the weight on the driven wheels',
    example: '60 %',
  }).prefault('60 %'),
  on: z.enum(['stands', 'ground']).prefault('ground').describe('wheels off the ground, or on it'),
});
type Parameters = Settled<z.output<typeof parameters>>;
export type VehicleNumbers = Parameters;

export const ports = {
  in: {},
  out: {
    speed: { means: 'speed of the vehicle', dimension: 'speed', kind: 'flowing' },
    acceleration: { means: 'acceleration of the vehicle', dimension: 'acceleration', kind: 'flowing' },
    distance: { means: 'distance driven', dimension: 'length', kind: 'flowing' },
    stopping: { means: 'distance since the controllers last drove', dimension: 'length', quiet: true },
    grade: { means: 'slope under the vehicle', dimension: 'ratio', quiet: true },
    grip: { means: 'force at which one driven wheel begins to slip; 0 on stands', dimension: 'force' },
    wheel: { means: 'radius of the driven wheels', dimension: 'length' },
    work: {
      means: 'energy that went into rolling, drag and climbing',
      dimension: 'energy',
      kind: 'flowing',
      isBook: true,
    },
    stored: { means: 'energy of motion', dimension: 'energy', kind: 'flowing' },
  },
} as const satisfies Ports;

export const chart = setup({ types: { events: {} as { type: string } } }).createMachine({
  id: 'vehicle',
  initial: 'standing',
  on: { lifted: '.on-stands' },
  states: {
    standing: { on: { forward: 'rolling-forward', backward: 'rolling-backward' } },
    'rolling-forward': { on: { stopped: 'standing', backward: 'rolling-backward' } },
    'rolling-backward': { on: { stopped: 'standing', forward: 'rolling-forward' } },
    'on-stands': { on: { lowered: 'standing' } },
  },
});

export const GRAVITY = 9.80665;
const AIR_DENSITY = 1.225;

/** Force in newtons that a slope takes: m g sin(atan(grade)). */
export function gradeNewtons(massKilograms: number, gradeRatio: number): number {
  return (massKilograms * GRAVITY * gradeRatio) / Math.sqrt(1 + gradeRatio * gradeRatio);
}

/** Rolling resistance in newtons, always positive. */
export function rollingNewtons(massKilograms: number, coefficient: number, gradeRatio: number): number {
  return (massKilograms * GRAVITY * coefficient) / Math.sqrt(1 + gradeRatio * gradeRatio);
}

export function dragNewtons(dragSquareMetres: number, metresPerSecond: number): number {
  return 0.5 * AIR_DENSITY * dragSquareMetres * metresPerSecond * metresPerSecond;
}

/** Slope at a distance: that of the last point reached, or the first one's before it. */
export function gradeAt(profile: readonly (readonly [number, number])[], distanceMetres: number): number {
  let found = profile[0]?.[1] ?? 0;
  for (const [from, ratioThere] of profile) {
    if (from > distanceMetres) break;
    found = ratioThere;
  }
  return found;
}

/** How far beyond the nearest edge of a profile a way from one distance to another has gone; 0 if it met none. */
export function passedMetres(
  profile: readonly (readonly [number, number])[],
  fromMetres: number,
  toMetres: number,
): number {
  let passed = 0;
  for (let index = 0; index < profile.length; index += 1) {
    const edge = profile[index]![0];
    if (fromMetres < edge && toMetres > edge) passed = Math.max(passed, toMetres - edge);
    else if (fromMetres > edge && toMetres < edge) passed = Math.max(passed, edge - toMetres);
  }
  return passed;
}

export const faults = {} as const satisfies Readonly<Record<string, Fault>>;

export const steps = {
  grade: { means: 'set the slope', schema: z.strictObject({ grade }) },
  mass: {
    means: 'set the mass, rider and load included',
    schema: z.strictObject({ mass: kilograms({ min: 0.1, max: 5000, means: 'mass', example: '180 kg' }) }),
  },
  on: {
    means: 'lift onto stands or lower to the ground',
    schema: z.strictObject({ on: z.enum(['stands', 'ground']).describe('where the wheels are') }),
  },
} as const satisfies Readonly<Record<string, StepForm>>;

/** A step may pass the edge of a slope by so much. */
const EDGE_METRES = 1e-4;

/** Slower than this a vehicle whose drives cannot move it stands, and so fast it may have become where it turned round. */
export const STANDING_METRES_PER_SECOND = 1e-4;

function make(host: Host, numbers: Parameters): Live {
  const state = {
    mass: numbers.mass,
    grade: numbers.grade,
    isLifted: numbers.on === 'stands',
    /** Which way it moved when the step began: 1, -1, or 0 where it stood. */
    direction: 0,
    lastMetres: 0,
    drovenMetres: 0,
    wasDriven: false,
    hasProfile: numbers.profile !== undefined,
    shownSign: 0,
  };
  const { values, out } = host;
  const { rolling, drag, profile } = numbers;
  const speedOut = out.speed!;
  const accelerationOut = out.acceleration!;
  const distanceOut = out.distance!;
  const thrusts = host.all('motor', 'thrust');
  const masses = host.all('motor', 'mass');
  const holds = host.all('motor', 'hold');
  const drives = host.all('controller', 'drive');

  /** Thrust of the drives less the slope, before any friction. */
  const pushNewtons = (): number => {
    let newtons = -gradeNewtons(state.mass, state.grade);
    for (let index = 0; index < thrusts.length; index += 1) newtons += values[thrusts[index]!]!;
    return newtons;
  };
  /** What friction takes: rolling, and that of the drives that grip. */
  const frictionNewtons = (): number => {
    let newtons = rollingNewtons(state.mass, rolling, state.grade);
    for (let index = 0; index < holds.length; index += 1) newtons += values[holds[index]!]!;
    return newtons;
  };
  /** Friction works against the direction of the step's start, or holds, so that a step's slopes have no edge. */
  const acceleration = (): number => {
    if (state.isLifted) return 0;
    const speed = x[base]!;
    const push = pushNewtons() - Math.sign(speed) * dragNewtons(drag, speed);
    const friction = frictionNewtons();
    let mass = state.mass;
    for (let index = 0; index < masses.length; index += 1) mass += values[masses[index]!]!;
    if (state.direction !== 0) return (push - state.direction * friction) / mass;
    return Math.abs(push) <= friction ? 0 : (push - Math.sign(push) * friction) / mass;
  };
  const {
    x,
    dx,
    books,
    bookRates,
    state: base,
    book,
    excess,
  } = host.flow({
    states: [
      { name: 'speed', start: 0, scale: 5 },
      { name: 'distance', start: 0, scale: 100 },
    ],
    bookCount: 1,
    feed: () => {
      const speed = x[base]!;
      values[speedOut] = speed;
      values[accelerationOut] = acceleration();
      values[distanceOut] = x[base + 1]!;
      values[out.work!] = books[book]!;
      values[out.stored!] = 0.5 * state.mass * speed * speed;
    },
    slope: () => {
      const speed = x[base]!;
      dx[base] = values[accelerationOut]!;
      dx[base + 1] = speed;
      bookRates[book] =
        Math.abs(speed) * (rollingNewtons(state.mass, rolling, state.grade) + dragNewtons(drag, speed)) +
        speed * gradeNewtons(state.mass, state.grade);
    },
    excess: () => {
      // Where it turns round friction changes its sign, or holds it.
      const turned = (-x[base]! * state.direction) / STANDING_METRES_PER_SECOND;
      excess[0] = Math.max(excess[0]!, turned);
      if (profile === undefined || !state.hasProfile) return;
      excess[0] = Math.max(excess[0]!, passedMetres(profile, state.lastMetres, x[base + 1]!) / EDGE_METRES);
    },
    settle: () => {
      state.lastMetres = x[base + 1]!;
      const speed = x[base]!;
      let hasJumped = false;
      const hasTurned = speed * state.direction < 0;
      const isNearlyStill = hasTurned || (speed !== 0 && Math.abs(speed) < STANDING_METRES_PER_SECOND);
      if (isNearlyStill && Math.abs(pushNewtons()) <= frictionNewtons()) {
        books[book]! += 0.5 * state.mass * speed * speed;
        x[base] = 0;
        values[speedOut] = 0;
        hasJumped = true;
      } else if (hasTurned) hasJumped = true;
      state.direction = Math.sign(x[base]!);
      if (profile !== undefined && state.hasProfile) {
        const there = gradeAt(profile, x[base + 1]!);
        if (there !== state.grade) {
          setGrade(there);
          hasJumped = true;
        }
      }
      let isDriven = false;
      for (let index = 0; index < drives.length; index += 1) isDriven ||= values[drives[index]!]! !== 0;
      // Driven up to now, whatever has just changed.
      if (isDriven || state.wasDriven) state.drovenMetres = x[base + 1]!;
      state.wasDriven = isDriven;
      host.note(out.stopping!, x[base + 1]! - state.drovenMetres);
      if (!state.isLifted && state.direction !== state.shownSign) host.wake(turn, host.now[0]!);
      return hasJumped;
    },
  });
  const turn = host.timer(() => {
    state.shownSign = state.isLifted ? 0 : state.direction;
    run.send(run.event(state.shownSign > 0 ? 'forward' : state.shownSign < 0 ? 'backward' : 'stopped'));
  });
  const run = runChart(host, chart, {});
  const setGrade = (there: number): void => {
    state.grade = there;
    host.note(out.grade!, there);
    showGrip();
  };
  const showGrip = (): void => {
    const normal =
      (state.mass * GRAVITY * numbers['driven-share']) /
      Math.sqrt(1 + state.grade * state.grade) /
      Math.max(1, thrusts.length);
    host.update(out.grip!, state.isLifted ? 0 : numbers.grip * normal);
  };
  const lift = (isLifted: boolean): void => {
    host.refresh();
    state.isLifted = isLifted;
    if (isLifted) {
      x[base] = 0;
      state.direction = 0;
    }
    host.jump();
    run.send(run.event(isLifted ? 'lifted' : 'lowered'));
    showGrip();
  };
  return {
    state,
    start: () => {
      run.start();
      host.update(out.wheel!, numbers.wheel);
      setGrade(profile === undefined ? numbers.grade : gradeAt(profile, 0));
      if (state.isLifted) run.send(run.event('lifted'));
    },
    input: () => {
      // Everything reaches it through the wheels.
    },
    command: (form, contents) => {
      if (form === 'on') lift((contents as { on: string }).on === 'stands');
      else if (form === 'mass') state.mass = (contents as { mass: number }).mass;
      else {
        state.hasProfile = false;
        setGrade((contents as { grade: number }).grade);
      }
      showGrip();
      host.disturb();
    },
    fault: () => {
      // A vehicle has no faults of its own; its parts do.
    },
  };
}

const tellSpeed: Explain = ({ name, value, read, word }) => ({
  says: `the vehicle (${word(`${name}.mode`, read(`${name}.mode`))}) does ${formatQuantity(value, 'speed')} on a slope of ${formatQuantity(read(`${name}.grade`), 'ratio')}`,
});

export const vehicle: PartKind = {
  kind: 'vehicle',
  means: 'the vehicle',
  at: 'vehicle',
  parameters,
  ports,
  chart,
  faults,
  steps,
  tells: { along: 'motion', ports: ['speed', 'distance'] },
  roles: { speed: 'speed' },
  explain: { speed: tellSpeed },
  make: make as PartKind['make'],
};
