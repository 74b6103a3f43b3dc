/** What is on the screen at given instants, through Ink's testing library, at the smallest size and at a large one. */
import { render } from 'ink-testing-library';
import { afterEach, describe, expect, test } from 'vitest';
import { Dashboard } from '../../sim/dashboard/Dashboard.tsx';
import { asciiGlyphs, unicodeGlyphs } from '../../sim/dashboard/glyphs.ts';
import { bindingsOf, press } from '../../sim/dashboard/keys.ts';
import { textOf } from '../../sim/dashboard/line.ts';
import { screenLines } from '../../sim/dashboard/screen.ts';
import type { Session } from '../../sim/dashboard/session.ts';
import { driveOf, pass, scenarioNames, showOf } from './benches.ts';

const open: (() => void)[] = [];
afterEach(() => {
  for (const close of open.splice(0)) close();
});

function mounted(session: Session, columns: number, rows: number) {
  const app = render(
    <Dashboard session={session} glyphs={unicodeGlyphs} isColoured={false} size={{ columns, rows }} />,
  );
  open.push(() => app.unmount());
  return app;
}

/** Ink listens to keys once its effects have run. */
const settled = (): Promise<void> => new Promise((resolve) => setImmediate(() => setImmediate(resolve)));

describe.each([
  [80, 24],
  [200, 60],
])('screen: %d x %d', (columns, rows) => {
  test('a refused startup pulse is seen to miss, and by how much', async () => {
    const session = showOf('idle-one-too-high.yaml');
    session.player.seek(0.4);
    session.moved();
    const app = mounted(session, columns, rows);
    await settled();
    const frame = app.lastFrame()!;
    const lines = frame.split('\n');
    expect(lines.length).toBe(rows);
    expect(frame).toContain('idle compare one too high');
    expect(frame).toContain('400 ms of 6 s');
    expect(frame).toMatch(/left refusing .*\].*▲.*1536 us, 16 us over/);
    expect(frame).toContain('3 open');
    expect(frame).toContain('not yet');
    expect(frame).toMatch(/✓\s+0 s {2}battery connect/);
    expect(lines.at(-1)).toContain('space play');
    expect(lines.at(-1)).toContain('q quit');
    expect(lines.at(-1)).toContain('? keys');
  });

  test('armed, the pulse lies in the window', async () => {
    const session = showOf('cold-start.yaml');
    session.player.seek(1.5);
    session.moved();
    const app = mounted(session, columns, rows);
    await settled();
    expect(app.lastFrame()).toMatch(/left neutral .*\[.*▲.*\].*1504 us, 16 us inside/);
    expect(app.lastFrame()).toMatch(/left\.mode is arm.*holds/);
  });

  test('keys reach the session: one event forth, help, back', async () => {
    const session = showOf('cold-start.yaml');
    const app = mounted(session, columns, rows);
    await settled();
    app.stdin.write('.');
    await settled();
    expect(session.player.eventCount).toBe(1);
    app.stdin.write('?');
    await settled();
    for (const { does } of bindingsOf(session)) expect(app.lastFrame()).toContain(does);
    app.stdin.write('x');
    await settled();
    app.stdin.write(',');
    await settled();
    expect(session.player.eventCount).toBe(0);
  });

  test('why tells the chain and the cure', async () => {
    const session = showOf('idle-one-too-high.yaml');
    session.player.seek(2.1);
    session.moved();
    const app = mounted(session, columns, rows);
    await settled();
    app.stdin.write('w');
    await settled();
    // A small screen breaks the sentences.
    const told = app.lastFrame()!.replace(/\s+/g, ' ');
    expect(told).toContain('16 us above its arming window');
    expect(told).toContain('(47 + 1) x 32 us');
    expect(told).toContain('output low 46 instead of 47 would arm');
  });

  test('measuring: from a rise of the pulse line to its fall is the width', async () => {
    const session = showOf('cold-start.yaml');
    session.player.seek(1.5);
    session.moved();
    const app = mounted(session, columns, rows);
    await settled();
    for (const key of ['z', 'z', 'z', 'z', 'z', 'c']) app.stdin.write(key);
    await settled();
    const lane = session.scope.lanes.indexOf('pwm.line');
    for (let step = 0; step < lane; step += 1) press(session, 'down');
    // A to a rise, B to the fall that follows it.
    const line = session.player.trace.column('pwm.line')!;
    press(session, '.');
    if (line.at(session.cursors!.seconds[0]) === 0) press(session, '.');
    press(session, 'tab');
    session.cursors = { ...session.cursors!, seconds: [session.cursors!.seconds[0], session.cursors!.seconds[0]] };
    app.stdin.write('.');
    await settled();
    // 47 ticks of 256 / 8 MHz.
    expect(app.lastFrame()).toContain('pwm.line  apart 1504 us');
    expect(app.lastFrame()).toContain('width 1504 us');
    expect(app.lastFrame()!.split('\n').at(-1)).toContain('c done');
  });

  test('drive: a fault in the menu shows as broken, and a fresh drive says what to do', async () => {
    const { session } = driveOf('bench.yaml');
    const app = mounted(session, columns, rows);
    await settled();
    expect(app.lastFrame()).toContain('p for the power');
    app.stdin.write('p');
    await settled();
    pass(session, 0.1);
    press(session, 'f');
    press(session, 'return');
    pass(session, 0.1);
    app.stdin.write('f');
    await settled();
    expect(app.lastFrame()).toContain('BROKEN');
  });
});

describe('screen: law: any instant of any scenario fills the screen exactly', () => {
  test.each(scenarioNames)('%s', (name) => {
    const session = showOf(name);
    for (const share of [0, 0.07, 0.4, 0.71, 1]) {
      session.player.seek(session.player.endSeconds * share);
      session.moved();
      for (const [columns, rows] of [
        [80, 24],
        [97, 31],
        [200, 60],
      ] as const)
        for (const glyphs of [unicodeGlyphs, asciiGlyphs]) {
          const lines = screenLines(session, columns, rows, glyphs).map(textOf);
          expect(lines.length).toBe(rows);
          for (const line of lines) expect(line.length).toBe(columns);
          if (glyphs.isAscii) expect(lines.join('')).toMatch(/^[\u0020-\u007e]*$/);
        }
    }
  });
});

test('screen: smaller than 80 x 24 it says so, however small', () => {
  const session = showOf('cold-start.yaml');
  expect(screenLines(session, 79, 24, unicodeGlyphs).map(textOf).join('\n')).toContain('needs 80 x 24');
  expect(screenLines(session, 20, 2, unicodeGlyphs).length).toBe(2);
});

test('screen: without colours there is not one escape code, and nothing is lost', async () => {
  const session = showOf('idle-one-too-high.yaml');
  session.player.seek(3);
  session.moved();
  const app = mounted(session, 120, 40);
  await settled();
  expect(app.lastFrame()).not.toContain('\u001b');
  expect(app.lastFrame()).toContain('as expected');
});

test('screen: text of a file cannot reach the terminal as codes', () => {
  const session = showOf('cold-start.yaml');
  session.play = { ...session.play, title: 'red \u001b[31m 漢字 \u202e turned' };
  const [head] = screenLines(session, 100, 30, unicodeGlyphs).map(textOf);
  expect(head).toContain('red ?[31m ?? ? turned');
});
