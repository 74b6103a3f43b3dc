/**
 * One frame at 200 x 60: the lines of the screen, their escape codes, and what is to be written. The design allows it
 * 10 ms. Beside it what the player costs for a second of simulated time, and for a step back.
 */
import { bench, describe } from 'vitest';
import { unicodeGlyphs } from '../../sim/dashboard/glyphs.ts';
import { coded, difference } from '../../sim/dashboard/paint.ts';
import { screenLines } from '../../sim/dashboard/screen.ts';
import { showOf } from '../dashboard/benches.ts';

function frameOf(columns: number, rows: number): () => void {
  const session = showOf('cold-start.yaml');
  session.player.seek(4);
  session.moved();
  let shown: readonly string[] = [];
  return () => {
    session.player.stepForth();
    const after = screenLines(session, columns, rows, unicodeGlyphs).map((line) => coded(line, true));
    difference(shown, after);
    shown = after;
  };
}

describe('dashboard: a frame', () => {
  bench('200 x 60', frameOf(200, 60));
  bench('80 x 24', frameOf(80, 24));
});

describe('dashboard: the player', () => {
  const session = showOf('cold-start.yaml');
  let second = 0;
  bench('a second forth', () => {
    second = (second % 5) + 1;
    if (second === 1) session.player.seek(0);
    session.player.runTo(second);
  });
  const stepping = showOf('cold-start.yaml');
  stepping.player.seek(4);
  bench('an event back and forth', () => {
    stepping.player.stepBack();
    stepping.player.stepForth();
  });
});
