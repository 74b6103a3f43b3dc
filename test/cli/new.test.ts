/** `jackstand new`: whatever may be answered gives files that are accepted; what may not be answered is told at once. */
import { chmodSync, existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { loadBench } from '../../sim/bench/load-bench.ts';
import { printProblems } from '../../sim/bench/print.ts';
import { hasErrors } from '../../sim/bench/problem.ts';
import type { Answers, Question } from '../../sim/cli/new/answers.ts';
import type { Asker } from '../../sim/cli/new/ask.ts';
import { benchText } from '../../sim/cli/new/bench-text.ts';
import { FLAGS } from '../../sim/cli/new/flags.ts';
import { createBench } from '../../sim/cli/new/new.ts';
import { QUESTIONS } from '../../sim/cli/new/questions.ts';
import { scenarioTexts } from '../../sim/cli/new/scenario-texts.ts';
import { withDraft, writeAll } from '../../sim/cli/new/write.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import { call } from './capture.ts';

const folder = (): string => join(mkdtempSync(join(tmpdir(), 'jackstand-')), 'bench');

/** The texts that a question says it allows: its words, or the ends of its range and what lies between. */
function textFor(question: Question, answers: Answers, share: number, tolerance: number): string {
  if (question.name === 'name')
    return ['cart', 'Wägeli #2: "fast" {x}', '- 7 -', 'yes', '# no'][Math.floor(share * 4.99)]!;
  const refused = question.read('nonsense', answers);
  if (!('says' in refused)) throw new Error('nonsense was taken');
  const { allowed = '' } = refused;
  if (question.choices !== undefined) {
    const words = question.choices.map(([word]) => word).filter((word) => 'answer' in question.read(word, answers));
    return words[Math.floor(share * words.length * 0.999)]!;
  }
  if (share < 0.1 && allowed.endsWith('or none')) return 'none';
  const [, least, unit, most, mostUnit] = /^([\d.e+-]+) ?(\S*?) to ([\d.e+-]+) ?([^\s,]*)/.exec(allowed)!;
  // The printed ends themselves are allowed; between them any number is, with the unit of either end.
  if (share < 0.2) return `${least} ${unit}`.trim();
  if (share > 0.9) return `${most} ${mostUnit}`.trim();
  const middle =
    unit === mostUnit ? Number(least) + ((share - 0.2) / 0.7) * (Number(most) - Number(least)) : Number(most) * share;
  const whole = /^(count|cells|top|compare)/.test(question.name) ? Math.round(middle) : Number(middle.toPrecision(5));
  const text = `${whole} ${mostUnit}`.trim();
  const tolerated = tolerance > 0 && mostUnit !== '' ? `${text} ± ${tolerance} %` : text;
  return 'answer' in question.read(tolerated, answers) ? tolerated : text;
}

function answersFrom(shares: readonly number[], tolerance: number): Answers {
  let answers: Answers = {};
  QUESTIONS.forEach((question, index) => {
    if (question.applies?.(answers) === false) return;
    const text = textFor(question, answers, shares[index]!, tolerance);
    const read = question.read(text, answers);
    // The only answers that fall out are those too near to another one.
    const usual = question.read(question.usual(answers), answers);
    if (!('answer' in usual)) throw new Error(`the usual ${question.name} ${question.usual(answers)}: ${usual.says}`);
    answers = { ...answers, [question.name]: 'answer' in read ? read.answer : usual.answer };
  });
  return answers;
}

describe('new: any answers', () => {
  const share = fc.double({ min: 0, max: 1, noNaN: true });
  const shares = fc.array(share, { minLength: QUESTIONS.length, maxLength: QUESTIONS.length });

  test('law: whatever is allowed gives files that are accepted, and every usual value is allowed', () =>
    fc.assert(
      fc.property(shares, fc.constantFrom(0, 0.5, 2), (numbers, tolerance) => {
        const answers = answersFrom(numbers, tolerance);
        const files = new Map([['bench.yaml', benchText(answers, new Set())], ...scenarioTexts(answers)]);
        withDraft(files, (draft) => {
          const bench = loadBench(join(draft, 'bench.yaml'));
          expect(printProblems(bench.problems.filter(({ severity }) => severity === 'error'))).toBe('');
          for (const name of scenarioTexts(answers).keys())
            expect(hasErrors(loadScenario(join(draft, name)).problems)).toBe(false);
        });
      }),
      { seed: 20261125, numRuns: 150 },
    ));

  test('every question has a flag and every flag a question', () => {
    expect(QUESTIONS.map(({ name }) => name).sort()).toEqual(Object.keys(FLAGS).sort());
  });
});

describe('new: without a terminal', () => {
  test('usual values: four scenarios that hold, files that check accepts, and comments on what was not measured', async () => {
    const at = folder();
    const { status, out } = await call(['new', at, '--usual', '--neutral', '1510 us']);
    expect(out).toContain('4 scenarios: 4 hold, 0 fail');
    expect(status).toBe(0);
    const text = readFileSync(join(at, 'bench.yaml'), 'utf8');
    expect(text).toContain('neutral: 1510 us');
    expect(text).toContain('# usual: full, reverse-pulse, period-least, period-most; measure yours');
    const checked = await call(['check', at]);
    expect(checked).toMatchObject({ status: 0, err: '' });
    expect((await call(['run', at])).status).toBe(0);
  });

  test('nothing said: what is missing, and nothing written', async () => {
    const at = folder();
    const { status, err } = await call(['new', at]);
    expect(status).toBe(2);
    expect(err).toContain('there is no terminal to ask at');
    expect(err).toContain('--usual');
    expect(existsSync(at)).toBe(false);
  });

  test.each([
    [['--pedal-rest', '9 V'], '--pedal-rest: `9 V`: it lies outside', 'allowed: 0 V to 5 V'],
    [['--pedal-rest', '0.9 A'], '--pedal-rest: `0.9 A`: ', 'allowed: 0 V to 5 V'],
    [
      ['--full', '1550 us'],
      'it is too near to neutral, 1500 us',
      'allowed: 500 us to 2500 us, at least 200 us from neutral',
    ],
    [['--pedal', 'lever'], '--pedal: `lever`: there is no such choice', 'allowed: hall, pot, switch'],
    [['--pedal-track', '10 kohm'], '--pedal-track: `10 kohm`: with the other answers', ''],
    [['--prescaler', '1'], 'with it the timer cannot make a pulse of 2000 us', 'allowed: 128, 256, 1024'],
    [['--cells', '2'], '--cells: `2`', 'allowed: 4 to 40'],
    [['--name', 'a\u0007b'], 'this cannot be a name', ''],
  ])('%j: %s', async (flags, says, allowed) => {
    const at = folder();
    const { status, err } = await call(['new', at, '--usual', ...flags]);
    expect(status).toBe(2);
    expect(err).toContain(says);
    expect(err).toContain(allowed);
    expect(existsSync(at)).toBe(false);
  });

  test('two bad answers are told at once', async () => {
    const { err } = await call(['new', folder(), '--usual', '--wheel', '9 m', '--clock', '1 GHz']);
    expect(err).toContain('--wheel');
    expect(err).toContain('--clock');
  });
});

describe('new: a bench that refuses', () => {
  // 48 ticks of 32 us (8 MHz / 256) are 1536 us: fast PWM is high for compare + 1 ticks (ATmega328P data sheet, fast PWM mode).
  const flags = ['--clock', '8 MHz', '--compare-rest', '47', '--compare-full', '63'];

  test('is written as it was answered, told with its cause, and tune offers what arms', async () => {
    const at = folder();
    const { status, out } = await call(['new', at, '--usual', ...flags]);
    expect(status).toBe(1);
    expect(out).toContain(
      'left refuses the startup pulse: 1536 us is 16 us above its arming window 1480 us to 1520 us',
    );
    expect(out).toMatch(/--tuned takes the first\):\n {2}Timer\d/);
    expect(readFileSync(join(at, 'bench.yaml'), 'utf8')).toContain('output: [47, 63]');
  });

  test('--tuned writes the best setting instead, and all holds', async () => {
    const at = folder();
    const { status, out } = await call(['new', at, '--usual', '--tuned', ...flags]);
    expect(out).toContain('with the timer setting Timer');
    expect(out).toContain('4 scenarios: 4 hold, 0 fail');
    expect(status).toBe(0);
    expect((await call(['check', at])).status).toBe(0);
  });

  test('a pull resistor to the supply: the scenario of the broken wire fails, and no timer setting is offered for that', async () => {
    const { status, out } = await call(['new', folder(), '--usual', '--pull', 'up']);
    expect(status).toBe(1);
    expect(out).toContain('FAILS  pedal wire breaks while driving');
    expect(out).not.toContain('--tuned');
  });
});

describe('new: writing', () => {
  test('nothing is overwritten, and nothing else written beside it', async () => {
    const at = folder();
    mkdirSync(at);
    writeFileSync(join(at, 'full-sweep.yaml'), 'mine');
    const { status, err } = await call(['new', at, '--usual']);
    expect(status).toBe(2);
    expect(err).toContain('full-sweep.yaml: this file is there already');
    expect(readdirSync(at)).toEqual(['full-sweep.yaml']);
    expect(readFileSync(join(at, 'full-sweep.yaml'), 'utf8')).toBe('mine');
  });

  test('what fails half-way leaves nothing behind, also no folder', () => {
    const at = folder();
    // The second name leads into a folder that is not there.
    expect(
      writeAll(
        join(at, 'deep'),
        new Map([
          ['a.yaml', 'a'],
          ['no/b.yaml', 'b'],
        ]),
      ),
    ).toHaveLength(1);
    expect(existsSync(at)).toBe(false);
  });

  test('a file that came to be in the meantime stays as it is', () => {
    const at = folder();
    mkdirSync(at);
    writeFileSync(join(at, 'b.yaml'), 'mine');
    expect(
      writeAll(
        at,
        new Map([
          ['a.yaml', 'a'],
          ['b.yaml', 'b'],
        ]),
      ),
    ).toHaveLength(1);
    expect(readdirSync(at)).toEqual(['b.yaml']);
    expect(readFileSync(join(at, 'b.yaml'), 'utf8')).toBe('mine');
  });

  test.skipIf(process.getuid?.() === 0)('a folder that may not be written into', async () => {
    const at = folder();
    mkdirSync(at);
    chmodSync(at, 0o500);
    const { status, err } = await call(['new', join(at, 'x'), '--usual']);
    expect(status).toBe(2);
    expect(err).toContain('EACCES');
  });
});

describe('new: asked at a terminal', () => {
  class Left extends Error {}
  /** Of a hall pedal and an 8-bit timer: no track, no top. */
  const NOT_ASKED = 2;
  /** Answers by name, the usual value for all others; `does` is what is chosen of the things to do, in turn. */
  function person(said: Readonly<Record<string, string | string[]>>, does: string[]): Asker & { asked: string[] } {
    const asked: string[] = [];
    const texts = new Map(Object.entries(said).map(([name, text]) => [name, [text].flat()]));
    return {
      asked,
      ask: async (question, answers, usual) => {
        asked.push(question.name);
        const text = texts.get(question.name)?.shift() ?? usual;
        if (text === 'leave') throw new Left();
        const read = question.read(text, answers);
        if ('says' in read) throw new Error(read.says);
        return read.answer;
      },
      choose: async () => does.shift()!,
    };
  }
  async function asked(at: string, asker: Asker, flags = {}) {
    const written: string[] = [];
    const streams = {
      out: (text: string) => void written.push(text),
      err: () => undefined,
      isColoured: false,
      columns: 80,
    };
    const status = await createBench(at, { flags, usual: false, tuned: false }, streams, async () => ({
      asker,
      isLeaving: (error) => error instanceof Left,
    }));
    return { status, out: written.join('') };
  }

  test('what a flag says is not asked, and what does not apply is not either', async () => {
    const asker = person({ pedal: 'switch', motors: 'no' }, ['write']);
    const { status } = await asked(folder(), asker, { neutral: '1520 us' });
    expect(status).toBe(0);
    expect(asker.asked).not.toContain('neutral');
    expect(asker.asked).not.toContain('pedal-rest');
    expect(asker.asked).not.toContain('gear');
    expect(asker.asked).toContain('clock');
  });

  test('left in the middle, or at the end: nothing is written', async () => {
    for (const asker of [person({ clock: 'leave' }, []), person({}, ['leave'])]) {
      const at = folder();
      expect((await asked(at, asker)).status).toBe(130);
      expect(existsSync(at)).toBe(false);
    }
  });

  test('a changed answer asks again what it makes impossible, and nothing else', async () => {
    const at = folder();
    // Full on the other side of neutral: the reverse pulse of 1000 us can no longer be.
    const asker = person({ full: ['2000 us', '1000 us'] }, ['change', 'full', 'write', 'keep']);
    const { status } = await asked(at, asker);
    expect(asker.asked.slice(QUESTIONS.length - 1 - NOT_ASKED)).toEqual(['wheel', 'full', 'reverse-pulse']);
    expect(status).toBe(1);
    const text = readFileSync(join(at, 'bench.yaml'), 'utf8');
    expect(text).toContain('full: 1000 us, reverse: 2000 us');
    expect(text).toContain('output: [93, 124]');
  });

  test('a setting of tune that is chosen is what is written', async () => {
    const at = folder();
    const { status, out } = await asked(at, person({}, ['write', '1']), {
      clock: '8 MHz',
      'compare-rest': '47',
      'compare-full': '63',
    });
    expect(out).toContain('FAILS  arms with the foot off');
    expect(out).toContain('4 scenarios: 4 hold, 0 fail');
    expect(status).toBe(0);
  });
});
