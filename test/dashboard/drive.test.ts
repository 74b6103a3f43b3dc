/** Drives by keys: what is saved replays, by the tool's own run, to the digest of the drive. */
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { faultChoices } from '../../sim/dashboard/hand.ts';
import { press } from '../../sim/dashboard/keys.ts';
import { instantAfter } from '../../sim/dashboard/live-script.ts';
import type { Session } from '../../sim/dashboard/session.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import { runScenario, type ScenarioRun } from '../../sim/verdict/run-scenario.ts';
import { driveOf, FOLDER, pass, type Written } from './benches.ts';

const keys = (session: Session, ...names: readonly string[]): void => {
  for (const name of names) press(session, name);
};

/** Saves by keys, writes the text where it says, and runs it. */
function replay(session: Session, written: Written[]): { readonly digest: string; readonly run: ScenarioRun } {
  keys(session, 's', 'return');
  const { text } = written.at(-1)!;
  const folder = mkdtempSync(join(tmpdir(), 'jackstand-drive-'));
  const file = join(folder, 'driven.yaml');
  writeFileSync(file, text.replace(/^bench: .*$/m, `bench: ${JSON.stringify(resolve(FOLDER, 'bench.yaml'))}`));
  const { value, problems } = loadScenario(file);
  expect(problems.filter(({ severity }) => severity === 'error')).toEqual([]);
  return { digest: session.player.digest, run: runScenario(value!, { causes: false }) };
}

describe('drive: saved and replayed', () => {
  test('power, half a pedal, a broken wire, mended, foot off', () => {
    const { session, written } = driveOf('bench.yaml');
    keys(session, 'p');
    pass(session, 2.0137);
    keys(session, '5');
    pass(session, 0.777);
    const place = faultChoices(session.play.parts, []).findIndex(({ fault }) => fault === 'signal-open');
    keys(session, 'f', ...Array<string>(place).fill('down'), 'return');
    pass(session, 0.25);
    keys(session, 'f', ...Array<string>(place).fill('down'), 'return');
    pass(session, 1);
    keys(session, 'return');
    pass(session, 0.4321);
    const { digest, run } = replay(session, written);
    expect(run.digest).toBe(digest);
    expect(written.at(-1)!.text).toContain(digest);
    expect(written.at(-1)!.text).toMatch(
      /fault: \{ pedal: signal-open \}, for: 250 ms|fault: \{ pedal: signal-open \}, for: 0\.25/,
    );
  });

  test('law: whatever the hands do, at whatever speed', () => {
    const act = fc.tuple(
      fc.constantFrom('p', 'up', 'down', 'return', '0', '7', 'fault', '+', '-', 'back', 'pause'),
      fc.double({ min: 0.0005, max: 0.4, noNaN: true }),
      fc.nat({ max: 200 }),
    );
    fc.assert(
      fc.property(fc.array(act, { minLength: 3, maxLength: 14 }), (acts) => {
        const { session, written } = driveOf('bench.yaml');
        keys(session, 'p');
        pass(session, 1.6);
        for (const [key, seconds, choice] of acts) {
          if (key === 'fault') {
            keys(session, 'f');
            session.chosen = choice;
            keys(session, 'return');
          } else if (key === 'back') keys(session, '{', 'left');
          else if (key !== 'pause') keys(session, key);
          if (key !== 'pause') pass(session, seconds);
        }
        const { digest, run } = replay(session, written);
        expect(run.digest, written.at(-1)!.text).toBe(digest);
      }),
      { seed: 20261125, numRuns: 15 },
    );
  });

  test('a scenario as ground: its overrides and expectations are saved, its steps are not', () => {
    const { session, written } = driveOf('idle-one-too-high.yaml');
    keys(session, 'p');
    pass(session, 2.5);
    const { digest, run } = replay(session, written);
    expect(run.digest).toBe(digest);
    expect(run.expectations.map(({ truth }) => truth)).toEqual([false, false, true]);
    expect(run.holds).toBe(true);
  });
});

test('drive: a fault is mended at the next instant, though the file says how long it lasted', () => {
  const { session } = driveOf('bench.yaml');
  pass(session, 0.5);
  keys(session, 'f', 'return');
  pass(session, 0.3333);
  keys(session, 'f', 'return');
  expect(session.drive!.steps.at(-1)).toMatchObject({ at: '0.501 s', for: '0.333 s' });
  expect(session.play.acts.at(-1)!.seconds).toBeCloseTo(0.834, 9);
});

test('drive: what was just asked for in real time is not lost to an act in slow motion', () => {
  const { session } = driveOf('bench.yaml');
  pass(session, 1);
  keys(session, '5', ...Array<string>(6).fill('-'), 'p');
  expect(session.drive!.steps.map(({ at }) => at)).toEqual(['1.001 s', '1.00001 s']);
});

describe('drive: going back', () => {
  test('an act in the past undoes what came after it', () => {
    const { session } = driveOf('bench.yaml');
    keys(session, 'p');
    pass(session, 2);
    keys(session, '9');
    pass(session, 2);
    session.player.seek(1);
    session.moved();
    keys(session, '3');
    expect(session.drive!.steps.map(({ at }) => at)).toEqual(['0.001 s', '1.001 s']);
    pass(session, 1);
    expect(session.player.present('pedal.travel')).toBeCloseTo(0.3, 9);
  });

  test('looking back alone undoes nothing', () => {
    const { session } = driveOf('bench.yaml');
    keys(session, 'p');
    pass(session, 2);
    keys(session, '9');
    pass(session, 2);
    const { digest, eventCount } = session.player;
    keys(session, 'b', 'b', 'left', 'r');
    session.player.runTo(4);
    expect([session.player.digest, session.player.eventCount]).toEqual([digest, eventCount]);
  });
});

test('drive: a constant one higher is refused where the old one armed', () => {
  const { session } = driveOf('bench.yaml');
  keys(session, 'p');
  pass(session, 2);
  expect(session.player.log.items.some(({ to }) => to.startsWith('armed'))).toBe(true);
  keys(session, 'k', 'down', 'down', 'return', '4', '7', 'return');
  expect(session.message?.text).toContain('board.firmware.output.0 is 47');
  expect(session.player.seconds).toBe(0);
  pass(session, 2);
  expect(session.player.log.items.some(({ to }) => to.startsWith('armed'))).toBe(false);
  expect(session.player.log.items.some(({ says }) => says.includes('16 us above'))).toBe(true);
});

test('drive: a constant that cannot be is refused in words, and the run goes on', () => {
  const { session } = driveOf('bench.yaml');
  pass(session, 1);
  keys(session, 'k', 'down', 'down', 'return', 'x', 'return');
  expect(session.message).toMatchObject({ isBad: true });
  expect(session.message!.text).toContain('board.firmware.output');
  expect(session.player.seconds).toBe(1);
});

describe('instant: one that a file can state', () => {
  test('law: it lies ahead by less than two steps, and is read as the very number', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 3600, noNaN: true }),
        fc.integer({ min: 3, max: 6 }),
        (seconds, decimals) => {
          const text = instantAfter(seconds, decimals);
          const instant = Number.parseFloat(text);
          expect(instant).toBeGreaterThan(seconds);
          expect(instant - seconds).toBeLessThan(2.001 * 10 ** -decimals);
          expect(text).toMatch(/^\d+(\.\d+)? s$/);
        },
      ),
      { seed: 20261125, numRuns: 2000 },
    );
  });
});
