import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { FIRST_CAREFUL, OP } from '../../../../models/board/avr/op.ts';

describe('op: numbers', () => {
  const source = readFileSync(new URL('../../../../models/board/avr/interpreter.ts', import.meta.url), 'utf8');
  const cases = [...source.matchAll(/case (\d+): \/\/ (\w+)/g)].map(([, number, name]) => [name, Number(number)]);

  test("the interpreter's literal cases are the operations that it names, all but the careful ones", () => {
    const expected = Object.entries(OP).filter(([, number]) => number < FIRST_CAREFUL);
    expect(cases.sort()).toEqual(expected.sort());
  });

  test('no two operations share a number', () => {
    expect(new Set(Object.values(OP)).size).toBe(Object.keys(OP).length);
  });
});
