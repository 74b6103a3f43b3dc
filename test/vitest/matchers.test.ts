/** The matchers that a project's own tests use. */
import { describe, expect, expectTypeOf, test } from 'vitest';
import { runFile } from '../../sim/vitest.ts';
import { shipped } from '../cli/capture.ts';

const cold = runFile(`${shipped}/cold-start.yaml`);
const high = runFile(`${shipped}/idle-one-too-high.yaml`);

describe('vitest matchers', () => {
  test('one constant decides between arming and refusing', () => {
    expect(cold).toArm('left', { within: '2 s' });
    expect(cold).not.toRefuse('left');
    expect(high).toRefuse('left', { within: '1 s' });
    expect(high).not.toArm('right');
    expect(high).toHold();
    expect(cold).toMeet({ when: 'pedal.travel < 2 %', then: 'left.drive = 0', within: '1 s' });
  });

  test('a failure tells the cause: 48 ticks of 32 us are 16 us above 1520 us', () => {
    expect(() => expect(high).toArm('left', { within: '2 s' })).toThrow(/1536 us is 16 us above its arming window/);
    expect(() => expect(cold).toMeet({ that: 'left.drive = 0', always: true })).toThrow(/left\.drive/);
  });

  test('words that make no expectation are an error that names what is near', () => {
    expect(() => expect(cold).toArm('lefft')).toThrow(/there is no signal/);
    expect(() => expect(cold).not.toMeet({ that: 'left.drive = 0', within: 'soon' })).toThrow(/within/);
    expect(() => runFile('no-such-file.yaml')).toThrow(/no-such-file/);
  });

  test('types: the matchers are known to the compiler with what they take', () => {
    expectTypeOf(expect(cold).toArm).parameter(0).toEqualTypeOf<string>();
    // @ts-expect-error a time is a text with its unit
    expectTypeOf(expect(cold).toArm).toBeCallableWith('left', { within: 2 });
  });
});
