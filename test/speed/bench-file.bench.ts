/** Reading a bench of 60 lines: text to tree, copies and overrides, schema. The mark to hold is 3 ms, warm. */
import { bench, describe } from 'vitest';
import { resolveLikes } from '../../sim/bench/like.ts';
import { printProblems } from '../../sim/bench/print.ts';
import { parseSource } from '../../sim/bench/source.ts';
import { validate } from '../../sim/bench/validate.ts';
import { sampleSchema, sampleText } from '../bench/sample.ts';

const controllers = Array.from(
  { length: 12 },
  (_, index) => `  c${'abcdefghijkl'[index]}:
    pulse: { neutral: 1500 us, full: 2000 us, valid: [700 us, 2400 us] }
    window: ± 20 us
    reverse: brake-first
`,
);
const text = sampleText + controllers.join('');
const wrong = text.replaceAll('1500 us', '1500').replaceAll('reverse', 'revers');

function checked(contents: string): number {
  const { tree } = parseSource('bench.yaml', contents);
  const outcome = validate(sampleSchema, resolveLikes(tree!).tree);
  return 'problems' in outcome ? printProblems(outcome.problems, { limit: 100 }).length : 0;
}

describe(`a bench of ${text.split('\n').length} lines`, () => {
  bench('read and validated', () => {
    if (checked(text) !== 0) throw new Error('the bench has mistakes');
  });
  bench('with 26 mistakes, printed', () => {
    if (checked(wrong) === 0) throw new Error('the mistakes were not found');
  });
});
