/** A power side of real parts with one or two drives, commanded by pulses: what the tests of the power side share. */
import { battery } from '../../../models/battery.ts';
import { controller } from '../../../models/controller/controller.ts';
import { harness } from '../../../models/harness.ts';
import { motor } from '../../../models/motor.ts';
import { rail } from '../../../models/rail.ts';
import { vehicle } from '../../../models/vehicle.ts';
import { type Doing, type RigParts, type RigRun, rig, train } from '../rig.ts';

const FRAME_SECONDS = 0.02;

/** From an instant on, a drive from 0 to 1 (below 0 the pulse brakes or reverses). */
export type Course = readonly (readonly [fromSeconds: number, drive: number])[];

export interface Sections {
  readonly battery?: object;
  readonly harness?: object;
  readonly controller?: object;
  readonly power?: object;
  readonly motor?: object;
  /** Without it there is no vehicle: the motor turns freely. */
  readonly vehicle?: object;
  /** Leave out a motor, for a controller that only stands by. */
  readonly hasMotor?: boolean;
  readonly isTwin?: boolean;
  readonly rail?: object;
}

/** Powered at 0 s, armed before 0.5 s; then the course is driven. */
export function driveRig(sections: Sections, course: Course, seconds: number, script: readonly Doing[] = []): RigRun {
  const name = 'left';
  const own = [
    controller,
    {
      pulse: { neutral: '1500 us', full: '2000 us', reverse: '1000 us', dead: '1 us' },
      arming: { window: '± 1 us', hold: '0.1 s' },
      boot: '0 s',
      ...sections.controller,
      power: { idle: '0 A', 'switching-time': '0 s', ...sections.power },
    },
  ] as const;
  const driven = [motor, { ...sections.motor }] as const;
  const parts: RigParts = {
    battery: [battery, { chemistry: 'lead-acid', ...sections.battery }],
    harness: [harness, { ...sections.harness }],
    [name]: own,
    ...(sections.hasMotor === false ? {} : { [`motors.${name}`]: driven }),
    ...(sections.isTwin === true ? { right: own, 'motors.right': driven } : {}),
    ...(sections.rail === undefined ? {} : { rail: [rail, sections.rail] as const }),
    ...(sections.vehicle === undefined ? {} : { vehicle: [vehicle, sections.vehicle] as const }),
  };
  return rig(
    parts,
    [{ at: 0, say: 'battery', form: 'connect' }, ...pulses(`${name}.line`, course, seconds), ...script],
    seconds,
  );
}

/** Neutral up to the first entry, then what the course says, a pulse a frame. */
export function pulses(feed: string, course: Course, seconds: number): Doing[] {
  const doings: Doing[] = [];
  for (let frame = 1; (frame + 1) * FRAME_SECONDS < seconds; frame += 1) {
    const from = frame * FRAME_SECONDS;
    const drive = course.findLast(([at]) => at <= from + 1e-9)?.[1] ?? 0;
    doings.push(
      ...train(feed, from, from + FRAME_SECONDS, Number((0.0015 + 0.0005 * drive).toFixed(9)), FRAME_SECONDS),
    );
  }
  return doings;
}

/** A source that does not give way, so that a textbook's voltage is what arrives. */
export const stiff = (volts: number, cells = 1): object => ({
  chemistry: 'lithium-ion',
  cells,
  curve: [
    ['0 %', `${volts / cells} V`],
    ['100 %', `${volts / cells} V`],
  ],
  capacity: '100000 Ah',
  resistance: '0.001 mohm',
  'resistance-empty': 1,
  polarisation: '0 ohm',
  peukert: 1,
});

export const noWire = { main: { length: '0 m' } };
