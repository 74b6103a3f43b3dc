/**
 * The cart's compiled program under regression tests, beside a project's other tests: it is run instruction by
 * instruction on the bench, and what must stay true of it is stated. Run it with `npx vitest run`.
 */
import { fileURLToPath } from 'node:url';
import { runFile } from 'jackstand/vitest';
import { describe, expect, test } from 'vitest';

/** In a project of your own: the path of your scenario. */
const scenario = (name: string): string => fileURLToPath(new URL(`../../orchard-cart/${name}.yaml`, import.meta.url));

describe('cart program: cold start', () => {
  const run = runFile(scenario('firmware-cold-start'));

  test('both controllers arm within two seconds', () => {
    expect(run).toArm('left', { within: '2 s' });
    expect(run).toArm('right', { within: '2 s' });
  });

  test('nothing moves before the foot does', () => {
    expect(run).toMeet({ that: 'left.drive = 0 and right.drive = 0', always: true, until: '3 s' });
  });

  test('no pulse leaves the range that the controllers take', () => {
    expect(run).toMeet({ that: 'left.pulse between 1.48 ms and 2.1 ms', always: true, from: '1 s' });
  });

  test('letting go stops it', () => {
    expect(run).toMeet({ when: 'pedal.travel < 2 %', then: 'left.drive = 0', within: '1 s' });
  });

  test('all that the scenario itself expects', () => {
    expect(run).toHold();
  });
});

describe('cart program: a bug that was found once', () => {
  test('swapped bytes of the compare register would be seen as a backward pulse', () => {
    const run = runFile(scenario('firmware-bug'));
    expect(run).toArm('left');
    expect(run).not.toMeet({ that: 'left.pulse >= 1.48 ms', always: true, from: '2 s' });
  });
});
