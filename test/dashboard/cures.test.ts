/** Why with its cures: what the library finds, found while the dashboard goes on, stopped and kept. */
import { beforeAll, describe, expect, test } from 'vitest';
import { why } from '../../sim/campaign/why.ts';
import { unicodeGlyphs } from '../../sim/dashboard/glyphs.ts';
import { press } from '../../sim/dashboard/keys.ts';
import { textOf } from '../../sim/dashboard/line.ts';
import { screenLines } from '../../sim/dashboard/screen.ts';
import { playOfScenario, Session } from '../../sim/dashboard/session.ts';
import { driveOf, pass, scenario, showOf } from './benches.ts';

const keys = (session: Session, ...names: readonly string[]): void => {
  for (const name of names) press(session, name);
};
const screen = (session: Session, columns = 80, rows = 24): string =>
  screenLines(session, columns, rows, unicodeGlyphs).map(textOf).join('\n');
const nextTurn = (): Promise<void> => new Promise((resolve) => setImmediate(resolve));

/** The refusal a second after it, asked why. `clock` counts milliseconds. */
function asked(clock: () => number = () => 0): Session {
  const plays = ['idle-one-too-high.yaml', 'firmware-bug.yaml'].map((name) => playOfScenario(scenario(name)));
  const session = new Session({ plays, clock });
  session.player.seek(4);
  session.moved();
  keys(session, 'w');
  return session;
}

/** One whose search has ended, for all that only look. */
let finished: Session;
beforeAll(async () => {
  finished = asked();
  expect(screen(finished)).toContain('nearest cures, each alone: searching');
  await finished.cures!.ended;
}, 60_000);

describe('cures: of the shipped refusal', () => {
  test('what it finds is news to be drawn, once', () => {
    expect(finished.tick(0.03, () => false)).toBe(true);
    expect(finished.tick(0.03, () => false)).toBe(false);
  });

  test('they are those that the library call finds, the nearest first', async () => {
    const session = finished;
    const report = await why(scenario('idle-one-too-high.yaml'));
    expect(session.cures).toMatchObject({ state: 'done', total: 133, changes: report.changes });
    const shown = screen(session);
    expect(shown).toMatch(/nearest cures, each alone: 10 found in \d+ runs/);
    // The clock of a chip that would be right, as a share: 1 - 1520 / 1536.
    expect(shown).toMatch(/controllers\.\*\.pulse\.clock \(all\) +0 % -> -1\.05 % +-1\.05 %/);
    expect(shown).toMatch(/board\.firmware\.output\.0 +47 -> 46 +-2\.13 %/);
    expect(screen(session, 160, 45)).toMatch(/47 -> 46 +-2\.13 % {2}not from 45 on, also turns line 14, 15/);
  }, 60_000);

  test('on the smallest screen all of it is reached by scrolling, and no further', () => {
    const session = finished;
    const seen = Array.from({ length: 60 }, () => {
      const shown = screen(session);
      keys(session, 'down');
      return shown;
    });
    for (const words of ['pulse.resolution', 'the foot holds the pedal', 'arming at 306.1 ms'])
      expect(seen.some((shown) => shown.includes(words))).toBe(true);
    expect(seen.at(-1)).toContain('pulse.resolution');
    for (const shown of seen) expect(shown).toContain('nearest cures');
  });

  test('keys and playing have their turn all the while', async () => {
    let milliseconds = 0;
    // A clock that moves when it is looked at: the search finds that its time is up again and again.
    const session = asked(() => {
      milliseconds += 1;
      return milliseconds;
    });
    keys(session, 'x', 'space');
    const stood: number[] = [];
    const { cures, player } = session;
    let turns = 0;
    let isOver = false;
    void cures!.ended.then(() => {
      isOver = true;
    });
    while (!isOver && turns < 400) {
      await nextTurn();
      turns += 1;
      session.tick(0.001, () => false);
      stood.push(cures!.done);
    }
    // Between two parameters there were many turns, and the run played on.
    expect(turns).toBe(400);
    expect(player.seconds).toBeCloseTo(4.4, 6);
    expect(cures!.state).toBe('searching');
    cures!.stop();
    await cures!.ended;
    expect(cures!.state).toBe('stopped');
  }, 60_000);
});

describe('cures: stopped and kept', () => {
  test('s stops, what was found stays when it is looked at again, s starts anew', async () => {
    const session = asked();
    const { cures } = session;
    while (cures!.changes.length < 2) await nextTurn();
    keys(session, 's');
    await cures!.ended;
    expect(cures!.state).toBe('stopped');
    expect(screen(session)).toMatch(/stopped at \d+ of 133; s starts again/);
    keys(session, 'x', 'w');
    expect(session.cures).toBe(cures);
    expect(screen(session)).toContain('pedal.rest');
    keys(session, 's');
    expect(session.cures).not.toBe(cures);
    expect(session.cures!.state).toBe('searching');
    session.cures!.stop();
  }, 60_000);

  test('each scenario keeps its own, and going to another one stops the search', async () => {
    const session = finished;
    const first = session.cures!;
    keys(session, 'x', 'o');
    expect(session.cures).toBeUndefined();
    keys(session, 'end', 'w');
    const second = session.cures!;
    expect(second).not.toBe(first);
    keys(session, 'x', 'o');
    await second.ended;
    expect(second.state).toBe('stopped');
    keys(session, '5', 'w');
    expect(session.cures).toBe(first);
    expect(screen(session)).toContain('10 found');
  }, 60_000);
});

describe('cures: which expectation', () => {
  test('left and right go round those that are not met, and say which of how many', () => {
    const session = asked();
    expect(session.why).toMatchObject({ place: 0, index: 0, count: 2 });
    keys(session, 'right');
    expect(session.why).toMatchObject({ place: 1, index: 1, count: 2 });
    expect(screen(session)).toContain('right.mode is armed');
    keys(session, 'right');
    expect(session.why!.place).toBe(0);
    keys(session, 'left');
    expect(session.why!.place).toBe(1);
    session.cures!.stop();
  });

  test('where all is as it should be, no search begins', () => {
    const session = showOf('cold-start.yaml');
    session.player.seek(session.player.endSeconds);
    session.moved();
    keys(session, 'w');
    expect(session.cures).toBeUndefined();
    expect(screen(session)).not.toContain('cures');
  });

  test('what is not true yet and will be by the end has nothing to cure', async () => {
    const session = showOf('cold-start.yaml');
    session.player.seek(0.5);
    session.moved();
    keys(session, 'w');
    expect(screen(session)).toContain('left.mode is armed');
    await session.cures!.ended;
    expect(screen(session)).toContain('there is nothing to cure');
  }, 60_000);

  test('a drive is asked about up to where it stands', async () => {
    const { session } = driveOf('idle-one-too-high.yaml');
    keys(session, 'p');
    pass(session, 2.5);
    keys(session, 'w');
    const { cures } = session;
    expect(cures!.endSeconds).toBe(2.5);
    while (cures!.changes.length < 2) await nextTurn();
    keys(session, 's');
    await cures!.ended;
    expect(cures!.changes.map(({ path }) => path)).toContain('pedal.rest');
  }, 60_000);
});
