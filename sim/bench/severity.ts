/**
 * How bad is what a vehicle does after a fault? The rules of a bench, in its section `severity`; what it leaves out has the
 * values here.
 *
 * The second within which the throttle must have returned is that of FMVSS 124 S5.3 for vehicles up to 4536 kg, from
 * memory; S5.2 counts it from the release or from the moment at which a component is severed (read in NHTSA's
 * interpretation nht75-2.28).
 */
import { z } from 'zod';
import { ratio, type Settled, seconds } from '../units/index.ts';

/** What a vehicle may do after a fault, the usual worst first. */
export const outcomes = {
  reversed: 'drove the other way than asked for',
  started: 'drove off though nobody asked for it',
  'kept-driving': 'drove on though nothing asked for it any more',
  'sped-up': 'drove harder than asked for',
  restarted: 'stopped, and drove again with the foot still down',
  braked: 'braked though nobody asked for it',
  'late-return': 'drove on for longer than the time allowed, then stopped',
  jolted: 'drove off, harder or the other way by itself, and stopped within the time allowed',
  returned: 'stopped within the time allowed',
  coasted: 'lost its drive and rolled',
  'no-start': 'did not drive when asked to',
  weaker: 'drove less hard than asked for',
  'as-before': 'did what it would have done without the fault',
} as const;

export type OutcomeName = keyof typeof outcomes;

const usualRanks: Readonly<Record<OutcomeName, number>> = {
  reversed: 4,
  started: 4,
  'kept-driving': 4,
  'sped-up': 3,
  restarted: 3,
  'late-return': 3,
  jolted: 2,
  braked: 2,
  returned: 1,
  coasted: 1,
  'no-start': 1,
  weaker: 1,
  'as-before': 0,
};

export const severitySchema = z
  .strictObject({
    return: seconds({
      above: 0,
      max: 60,
      means: 'time within which drive that nobody asks for must have ended',
      example: '1 s',
    }).prefault('1 s'),
    drive: ratio({
      above: 0,
      max: 1,
      means: 'drive beyond what is asked for that counts as moving by itself',
      example: '2 %',
    }).prefault('2 %'),
    'fail-at': z.int().min(1).max(5).prefault(3).describe('rank from which `jackstand faults` reports a failure'),
    ranks: z
      .partialRecord(z.enum(Object.keys(outcomes) as [OutcomeName, ...OutcomeName[]]), z.int().min(0).max(5))
      .prefault({})
      .describe('how bad an outcome is, 0 to 5, where the usual rank does not fit'),
  })
  .describe('how bad is what the vehicle does after a fault');

export type Severity = Omit<Settled<z.output<typeof severitySchema>>, 'ranks'> & {
  readonly ranks: Readonly<Record<OutcomeName, number>>;
};

/** The rules of a bench with this section, already checked, or the usual ones. */
export function severityOf(section: z.output<typeof severitySchema> = severitySchema.parse({})): Severity {
  const { ranks, ...rest } = section;
  return { ...rest, return: rest.return.value, drive: rest.drive.value, ranks: { ...usualRanks, ...ranks } };
}
