/** What can be wrong with a quantity that a user wrote: as facts, and in one place as words. */
import { DIMENSIONS, type Dimension } from './unit-table.ts';

interface Written {
  /** What the user wrote, cut to a length that can be shown. */
  readonly text: string;
  /** What is wanted there. */
  readonly dimension: Dimension;
}

/** Spellings that are allowed, and the one that was probably meant. */
interface Choice {
  readonly allowed: readonly string[];
  readonly nearest?: string;
}

export type QuantityMistake =
  | (Written & { readonly code: 'no-number' })
  /** A decimal comma, grouped digits and the like. */
  | (Written & { readonly code: 'bad-number'; readonly nearest?: string })
  | (Written & { readonly code: 'not-finite' })
  | (Written & { readonly code: 'too-large'; readonly limit: number })
  | (Written & { readonly code: 'too-long'; readonly length: number; readonly limit: number })
  | (Written & { readonly code: 'not-whole' })
  | (Written & { readonly code: 'no-such-gauge'; readonly unit: string; readonly least: number; readonly most: number })
  | (Written & Choice & { readonly code: 'no-unit' })
  | (Written & Choice & { readonly code: 'unknown-unit'; readonly unit: string })
  | (Written & Choice & { readonly code: 'wrong-dimension'; readonly unit: string; readonly is: Dimension })
  | (Written & {
      readonly code: 'bad-tolerance';
      readonly why: 'missing' | 'alone' | 'twice' | 'negative' | 'no-number' | 'no-unit';
      readonly nearest?: string;
    })
  | (Written & Choice & { readonly code: 'tolerance-dimension'; readonly unit: string; readonly is?: Dimension })
  /** Neither text nor number: a list, a map, true, nothing. */
  | (Written & { readonly code: 'wrong-type'; readonly received: string; readonly nearest?: string })
  | (Written & {
      readonly code: 'too-low' | 'too-high';
      readonly limit: string;
      readonly allowsLimit: boolean;
      readonly byTolerance: boolean;
    })
  | (Written & { readonly code: 'range-order'; readonly high: string })
  | (Written & { readonly code: 'window-form' })
  | (Written & { readonly code: 'window-side'; readonly side: 'low' | 'high' });

export interface MistakeWords {
  /** A clause without a full stop that stands alone, or after a path and a colon. */
  readonly says: string;
  readonly allowed?: string;
  readonly nearest?: string;
}

const SHOWN_LENGTH = 60;

/** User text that is safe and short enough to stand in a message. */
export function shown(text: string): string {
  // biome-ignore lint/suspicious/noControlCharactersInRegex: these are what must not reach a terminal.
  const plain = text.replace(/[\u0000-\u001f\u007f-\u009f\u200b-\u200f\u2028-\u202e\u2066-\u2069\ufeff]/g, '?');
  const characters = [...plain];
  return characters.length <= SHOWN_LENGTH ? plain : `${characters.slice(0, SHOWN_LENGTH - 1).join('')}…`;
}

/** The sentence for a mistake, with what is allowed and the nearest thing that is. */
export function quantityMistakeWords(mistake: QuantityMistake): MistakeWords {
  const says = sentence(mistake);
  const allowed = 'allowed' in mistake && mistake.allowed.length > 0 ? mistake.allowed.join(', ') : undefined;
  const nearest = 'nearest' in mistake ? mistake.nearest : undefined;
  return {
    says,
    ...(allowed === undefined ? {} : { allowed }),
    ...(nearest === undefined ? {} : { nearest: shown(nearest) }),
  };
}

const TOLERANCE_SAYS = {
  missing: 'there is nothing after the ±',
  alone: 'a tolerance needs a value before the ±',
  twice: 'there is more than one ±',
  negative: 'a tolerance is a half-width and cannot be negative',
  'no-number': 'there is no number after the ±',
  'no-unit': 'the tolerance has no unit',
} as const;

function sentence(mistake: QuantityMistake): string {
  const text = `\`${shown(mistake.text)}\``;
  const wanted = DIMENSIONS[mistake.dimension].called;
  switch (mistake.code) {
    case 'no-number':
      return mistake.text.trim() === ''
        ? `${wanted} is wanted here, and there is nothing`
        : `${text} does not begin with a number; ${wanted} is wanted`;
    case 'bad-number':
      return `${text} is not a number that can be read; write it with a decimal point and without grouping`;
    case 'not-finite':
      return `${text} is not a finite number`;
    case 'too-large':
      return `${text} is too large; the greatest that can be read is ${mistake.limit.toExponential()} ${DIMENSIONS[mistake.dimension].base}`.trimEnd();
    case 'too-long':
      return `${text} is ${mistake.length} characters long; ${wanted} has at most ${mistake.limit}`;
    case 'not-whole':
      return `${text} is not whole; ${wanted} is wanted`;
    case 'no-such-gauge':
      return `${text} is no wire size; ${mistake.unit} goes from ${mistake.least} to ${mistake.most} in whole numbers`;
    case 'no-unit':
      return `${text} has no unit; ${wanted} needs one`;
    case 'unknown-unit':
      return `\`${shown(mistake.unit)}\` is not a unit that is known here; ${wanted} is wanted`;
    case 'wrong-dimension':
      return `${text} is ${DIMENSIONS[mistake.is].called}; ${wanted} is wanted`;
    case 'bad-tolerance':
      return `${text}: ${TOLERANCE_SAYS[mistake.why]}`;
    case 'tolerance-dimension':
      return mistake.is === undefined
        ? `${text}: the tolerance cannot be given in \`${shown(mistake.unit)}\``
        : `${text}: the tolerance is ${DIMENSIONS[mistake.is].called}, which does not fit ${wanted}`;
    case 'wrong-type':
      return `${wanted} is wanted, not ${mistake.received}`;
    case 'too-low':
    case 'too-high':
      return outside(text, mistake);
    case 'range-order':
      return `[${shown(mistake.text)}, ${shown(mistake.high)}] does not go from low to high`;
    case 'window-form':
      return `${text} is not a window; it is written as ± and ${wanted}, or as a list of two, low and high`;
    case 'window-side':
      return mistake.side === 'low'
        ? `${text} as the low side of a window lies above 0`
        : `${text} as the high side of a window lies below 0`;
  }
}

function outside(text: string, mistake: Extract<QuantityMistake, { code: 'too-low' | 'too-high' }>): string {
  const { code, limit, allowsLimit, byTolerance } = mistake;
  const rule =
    code === 'too-low'
      ? allowsLimit
        ? `at least ${limit}`
        : `above ${limit}`
      : allowsLimit
        ? `at most ${limit}`
        : `below ${limit}`;
  return byTolerance ? `${text} must be ${rule} over its whole tolerance` : `${text} must be ${rule}`;
}
