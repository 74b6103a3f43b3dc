/**
 * The variables of a script as plain numbers, for snapshots, and back. Lists and objects that are met twice stay one.
 */
import { ScriptStop, type Value } from './run-time.ts';

const TAG = {
  undefined: 0,
  null: 1,
  false: 2,
  true: 3,
  number: 4,
  text: 5,
  list: 6,
  object: 7,
  again: 8,
  board: 9,
} as const;
/** Numbers that a script's variables may come to, all together. */
const KEPT_MOST = 100_000;
const DEPTH_MOST = 100;

/** @throws ScriptStop where there is more than may be kept. */
export function kept(values: readonly Value[], board: Value): Float64Array {
  const out: number[] = [];
  const met = new Map<object, number>();
  const keepText = (text: string): void => {
    out.push(text.length);
    for (let index = 0; index < text.length; index += 1) out.push(text.charCodeAt(index));
  };
  const keep = (value: Value, depth: number): void => {
    if (out.length > KEPT_MOST) throw new ScriptStop('trap', -1, 'its variables hold too much');
    if (depth > DEPTH_MOST) throw new ScriptStop('trap', -1, `its variables nest deeper than ${DEPTH_MOST}`);
    if (typeof value === 'number') out.push(TAG.number, value);
    else if (typeof value === 'string') {
      out.push(TAG.text);
      keepText(value);
    } else if (typeof value !== 'object' || value === null) out.push(TAG[String(value) as 'null']);
    else if (value === board) out.push(TAG.board);
    else if (met.has(value)) out.push(TAG.again, met.get(value)!);
    else {
      met.set(value, met.size);
      if (Array.isArray(value)) {
        out.push(TAG.list, value.length);
        for (const member of value) keep(member, depth + 1);
      } else {
        const entries = Object.entries(value);
        out.push(TAG.object, entries.length);
        for (const [key, member] of entries) {
          keepText(key);
          keep(member, depth + 1);
        }
      }
    }
  };
  for (const value of values) keep(value, 0);
  return Float64Array.from(out);
}

export function putBack(numbers: Float64Array, count: number, board: Value): Value[] {
  let at = 0;
  const next = (): number => numbers[at++]!;
  const met: Value[] = [];
  const text = (): string => {
    let made = '';
    for (let left = next(); left > 0; left -= 1) made += String.fromCharCode(next());
    return made;
  };
  const value = (): Value => {
    switch (next()) {
      case TAG.null:
        return null;
      case TAG.false:
        return false;
      case TAG.true:
        return true;
      case TAG.number:
        return next();
      case TAG.text:
        return text();
      case TAG.again:
        return met[next()];
      case TAG.board:
        return board;
      case TAG.list: {
        const list: Value[] = [];
        met.push(list);
        for (let left = next(); left > 0; left -= 1) list.push(value());
        return list;
      }
      case TAG.object: {
        const object = Object.create(null) as { [key: string]: Value };
        met.push(object);
        for (let left = next(); left > 0; left -= 1) {
          const key = text();
          object[key] = value();
        }
        return object;
      }
      default:
        return undefined;
    }
  };
  return Array.from({ length: count }, value);
}
