/** What can be changed on a bench: every quantity and choice, once, within what the file takes. */
import { describe, expect, test } from 'vitest';
import { loadBench } from '../../../sim/bench/load-bench.ts';
import { type Parameter, parametersOf, withValue } from '../../../sim/campaign/why/parameters.ts';
import { isQuantity } from '../../../sim/units/index.ts';

const bench = loadBench('scenarios/orchard-cart/bench.yaml').value!;
const parameters = parametersOf(bench.parts);
const named = (path: string): Parameter => parameters.find((parameter) => parameter.path === path)!;

/** Every quantity in a part's own parameters, by another way than the schema: what stands in nested sections is theirs. */
function quantityPaths(part: (typeof bench.parts)[number]): string[] {
  const own = new Set(Object.keys((part.kind.parameters as { shape?: object }).shape ?? (part.parameters as object)));
  const below = (node: unknown, keys: readonly string[]): string[] => {
    if (isQuantity(node)) return [keys.join('.')];
    if (typeof node !== 'object' || node === null) return [];
    return Object.entries(node).flatMap(([key, child]) => below(child, [...keys, key]));
  };
  return Object.entries(part.parameters as object).flatMap(([key, child]) => (own.has(key) ? below(child, [key]) : []));
}

describe('parameters of a bench', () => {
  test('every quantity of every part is in exactly one of them', () => {
    const listed = parameters
      .flatMap(({ places }) => places.map(({ part, keys }) => `${part} ${keys.join('.')}`))
      .sort();
    const all = bench.parts.flatMap((part, index) => quantityPaths(part).map((path) => `${index} ${path}`));
    expect(all.length).toBeGreaterThan(60);
    expect(listed).toEqual(expect.arrayContaining(all));
    expect(new Set(listed).size).toBe(listed.length);
  });

  test('a sibling that is like another changes together with it', () => {
    expect(named('controllers.*.pulse.neutral')).toMatchObject({ members: ['left', 'right'], value: 1500e-6 });
  });

  test('members that differ stand for themselves', () => {
    const left = bench.parts.findIndex(({ name }) => name === 'left');
    const neutral = named('controllers.*.pulse.neutral');
    const places = neutral.places.filter(({ part }) => part === left);
    const apart = withValue(bench.parts, { ...neutral, places }, 1510e-6);
    const paths = parametersOf(apart).map(({ path }) => path);
    expect(paths).toContain('controllers.left.pulse.neutral');
    expect(paths).toContain('controllers.right.pulse.neutral');
    expect(paths).toContain('controllers.*.pulse.full');
  });

  test('a window written as one distance is one parameter with both sides', () => {
    expect(named('controllers.*.arming.window')).toMatchObject({ isSymmetric: true, value: 20e-6 });
    expect(named('controllers.*.arming.window').places).toHaveLength(4);
  });

  test('the choices are those of the schema (divider selects: 8161D tables 14-9, 17-9)', () => {
    expect(named('board.pwm.prescaler')).toMatchObject({ kind: 'choice', choices: [1, 8, 32, 64, 128, 256, 1024] });
    expect(named('pedal.ratiometric')).toMatchObject({ kind: 'choice', choices: [false, true] });
    expect(parameters.map(({ path }) => path)).not.toContain('pedal.kind');
  });

  test.each([
    ['board.adc.bits', 16, true],
    ['board.adc.bits', 17, false],
    ['battery.charge', 1.01, false],
    ['controllers.*.pulse.valid.0', 2.3e-3, true],
    ['controllers.*.pulse.valid.0', 2.5e-3, false],
  ])('%s takes %d: %s, as its schema and its pair say', (path, value, takes) => {
    const parameter = named(path);
    expect(parameter.kind === 'quantity' && parameter.takes(value)).toBe(takes);
  });

  test('another value changes that place and shares the rest', () => {
    const changed = withValue(bench.parts, named('board.firmware.output.0'), 45);
    const at = bench.parts.findIndex(({ kind }) => kind.kind === 'firmware');
    expect(changed[at]!.parameters).toMatchObject({ output: [{ value: 45, text: '45' }, { value: 62 }] });
    expect(changed.filter((part, index) => part !== bench.parts[index])).toHaveLength(1);
  });
});
