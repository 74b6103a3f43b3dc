/** The Ink component: keys to the session, time to the session, the session's lines to the terminal. */
import { useApp, useInput, useStdout } from 'ink';
import { useEffect, useLayoutEffect, useReducer, useRef } from 'react';
import type { Glyphs } from './glyphs.ts';
import { keyNames } from './key-name.ts';
import { press } from './keys.ts';
import { coded, difference } from './paint.ts';
import { screenLines } from './screen.ts';
import type { Session } from './session.ts';

export interface DashboardProps {
  readonly session: Session;
  readonly glyphs: Glyphs;
  readonly isColoured: boolean;
  /** Size to draw for; that of the terminal without it. */
  readonly size?: { readonly columns: number; readonly rows: number };
}

const FRAMES_PER_SECOND = 30;
/** The simulation may take so much of each frame; drawing takes what it needs and is never waited for. */
const WORK_MILLISECONDS = 24;

export function Dashboard({ session, glyphs, isColoured, size }: DashboardProps): null {
  const { exit } = useApp();
  const { stdout } = useStdout();
  const shown = useRef<readonly string[]>([]);
  const [, redraw] = useReducer((count: number) => count + 1, 0);
  const { clock } = session.options;

  useInput((input, key) => {
    for (const name of keyNames(input, key)) session.attempt(() => press(session, name));
    if (session.isOver) {
      session.cures?.stop();
      exit();
    } else redraw();
  });

  useEffect(() => {
    let last = clock();
    const timer = setInterval(() => {
      const start = clock();
      const isChanged = session.tick((start - last) / 1000, () => clock() - start > WORK_MILLISECONDS);
      last = start;
      if (isChanged) redraw();
    }, 1000 / FRAMES_PER_SECOND);
    return () => clearInterval(timer);
  }, [session, clock]);

  useEffect(() => {
    // A terminal that was made larger or smaller may have moved what it showed.
    const resized = (): void => {
      shown.current = [];
      stdout.write('\u001b[2J');
      redraw();
    };
    stdout.on('resize', resized);
    return () => {
      stdout.off('resize', resized);
    };
  }, [stdout]);

  useLayoutEffect(() => {
    const { columns, rows } = size ?? { columns: stdout.columns, rows: stdout.rows };
    const after = screenLines(session, columns, rows, glyphs).map((line) => coded(line, isColoured));
    // What is no terminal, such as a test's stream, gets whole screens.
    const text = stdout.isTTY === true ? difference(shown.current, after) : after.join('\n');
    shown.current = after;
    if (text !== '') stdout.write(text);
  });
  return null;
}
