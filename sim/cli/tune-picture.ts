/** The pulse over the pedal's travel in letters, against where the controller wants it. */
import type { ControllerNeeds } from '../../models/throttle/path.ts';
import type { PicturePoint } from '../campaign/tune/picture.ts';
import { formatQuantity } from '../units/index.ts';

const ROWS = 18;

/** `#` is the pulse at the middle of all tolerances, `:` where it may be, `-` the ends of what is wanted. */
export function tunePicture(points: readonly PicturePoint[], needs: ControllerNeeds): string[] {
  const marks = [
    { seconds: needs.rest.most, says: 'rest: at most' },
    { seconds: needs.rest.least, says: 'rest: at least' },
    { seconds: needs.full.most, says: 'full drive' },
  ];
  const all = [...points.flatMap(({ range }) => [range.least, range.most]), ...marks.map(({ seconds }) => seconds)];
  const [least, most] = [Math.min(...all), Math.max(...all)];
  const rowOf = (seconds: number): number => Math.round(((most - seconds) / (most - least)) * (ROWS - 1));
  const lines = Array.from({ length: ROWS }, (_, row) => {
    const marked = marks.filter(({ seconds }) => rowOf(seconds) === row);
    const cells = points.map(({ seconds, range }) => {
      if (rowOf(seconds) === row) return '#';
      if (row >= rowOf(range.most) && row <= rowOf(range.least)) return ':';
      return marked.length > 0 ? '-' : ' ';
    });
    const label = formatQuantity(most - (row / (ROWS - 1)) * (most - least), 'time').padStart(9);
    const words = marked.map(({ says, seconds }) => `${says} ${formatQuantity(seconds, 'time')}`).join(', ');
    return `${label} |${cells.join('')}| ${words}`.trimEnd();
  });
  const axis = `${' '.repeat(10)}+${'-'.repeat(points.length)}+`;
  const feet = `${' '.repeat(11)}${'0 %'.padEnd(points.length - 5)}100 %  travel of the pedal`;
  return [`Pulse as ${needs.name} measures it: # at the middle of all tolerances, : within them`, ...lines, axis, feet];
}
