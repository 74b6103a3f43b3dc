/**
 * The sentences for what can be wrong with a file: the one place where a problem's facts become words.
 */
import { quantityMistakeWords } from '../units/index.ts';
import type { FactsByCode, Problem, ProblemCode } from './problem.ts';

export interface Words {
  /** A clause without a full stop. */
  readonly says: string;
  readonly allowed?: string;
  readonly nearest?: string;
}

/** What a problem says. Texts from the file are in it as they were: `printProblems` makes them safe for a terminal. */
export function wordsOf(problem: Problem): Words {
  return (wordsByCode[problem.code] as (facts: Problem['facts']) => Words)(problem.facts);
}

const wordsByCode: { readonly [Code in ProblemCode]: (facts: FactsByCode[Code]) => Words } = {
  'no-such-file': ({ nearest }) => ({ says: 'there is no such file', ...near(nearest) }),
  'not-a-file': ({ isFolder }) => ({
    says: isFolder ? 'this is a folder; a file is wanted' : 'this is a device or a pipe; a file is wanted',
  }),
  unreadable: ({ reason }) => ({
    says:
      reason === 'EACCES' || reason === 'EPERM'
        ? 'this file may not be read by you'
        : `this file cannot be read (${reason})`,
  }),
  'too-long': ({ bytes, limitBytes }) => ({ says: `the file has ${bytes} bytes; at most ${limitBytes} are read` }),
  'not-utf8': ({ looksLike }) => ({
    says:
      looksLike === undefined
        ? 'this byte is not UTF-8; save the file as UTF-8'
        : `the file is ${looksLike}; save it as UTF-8`,
  }),
  'control-character': ({ codePoint }) => ({
    says: `a control character (U+${codePoint.toString(16).toUpperCase().padStart(4, '0')}) cannot stand in a text file`,
  }),
  'empty-file': () => ({ says: 'the file is empty' }),
  'several-documents': () => ({ says: 'a second document begins here; a file holds one' }),
  'not-a-map': ({ got }) => ({ says: `the file is ${got}; keys with values are wanted at its top` }),
  'too-deep': ({ limit }) => ({ says: `nested too deep; at most ${limit} levels are read` }),
  'too-much': ({ limit }) => ({
    says: `there is too much in here, with all copies counted; at most ${limit} values are read`,
  }),
  yaml: yamlWords,
  'yaml-version': ({ version }) => ({ says: `files are YAML 1.2, not ${cut(version)}`, nearest: '%YAML 1.2' }),
  'duplicate-key': ({ path, firstLine }) => ({ says: `${cut(path)} is given twice, first in line ${firstLine}` }),
  'unsafe-key': ({ path }) => ({ says: `${cut(path)} cannot be used as a name` }),
  tag: ({ tag }) => ({ says: `tags have no meaning here; leave out ${cut(tag)}` }),
  'unknown-alias': ({ alias, nearest }) => ({
    says: `nothing above is marked &${cut(alias)}`,
    ...near(nearest === undefined ? undefined : `*${nearest}`),
  }),
  'alias-in-itself': ({ alias }) => ({ says: `*${cut(alias)} stands inside of what it stands for` }),
  'not-a-number': ({ path, written }) => ({
    says: `${subject(path)} is ${cut(written)}, which is no number that can be used`,
  }),
  'number-too-large': ({ path, written, limit }) => ({
    says: `${subject(path)} is ${cut(written)}; numbers go up to ${limit.toExponential().replace('+', '')}`,
  }),

  'like-unknown': ({ path, written, allowed, nearest }) => ({
    says: `${cut(path)} is ${cut(written)}; there is no map of that name beside it`,
    ...choice(allowed, nearest),
  }),
  'like-cycle': ({ names }) => ({ says: `these copy each other, so none says anything: ${list(names, ' like ')}` }),
  'like-no-map': ({ path, written, got }) => ({
    says: `${cut(path)} is ${cut(written)}, which is ${got}; only a map can be copied`,
  }),

  'override-path': ({ path }) => ({ says: `${cut(path)} is not a path; keys joined by single dots are wanted` }),
  'override-into-value': ({ path, at, written }) => ({
    says: `${cut(path)} leads into ${cut(at)}, which is ${cut(written)} and has no parts`,
  }),
  'override-item': ({ path, at, itemCount }) => ({
    says: `${cut(path)}: ${cut(at)} is a list of ${itemCount}`,
    allowed: itemCount === 0 ? 'none' : `0 to ${itemCount - 1}`,
  }),

  'unknown-key': ({ path, allowed, nearest, cure }) => ({
    says:
      cure === undefined
        ? `${cut(path)}: there is no such key${nearest === undefined ? '' : `; did you mean \`${nearest}\`?`}`
        : `${cut(path)}: a space is missing after the colon`,
    ...choice(allowed, cure),
  }),
  'missing-key': ({ path, allowed, means }) => ({
    says: `${cut(path)} is missing${means === undefined ? '' : ` (${means})`}`,
    ...choice(allowed ?? []),
  }),
  'wrong-type': ({ path, got, written, wanted, nearest }) => ({
    says:
      got === 'nothing'
        ? `${subject(path)} is empty; ${list(wanted, ' or ')} is wanted`
        : `${subject(path)} is ${got === written ? got : `\`${cut(written)}\`, ${got}`}; ${list(wanted, ' or ')} is wanted`,
    ...near(nearest),
  }),
  'not-allowed': ({ path, written, allowed, nearest }) => ({
    says: `${subject(path)} is ${cut(written)}; there is no such choice`,
    ...choice(allowed, nearest),
  }),
  'out-of-range': ({ path, written, side, limit, isInclusive, counted, count }) => {
    const rule = side === 'below' ? (isInclusive ? 'at least' : 'more than') : isInclusive ? 'at most' : 'less than';
    return {
      says:
        counted === undefined
          ? `${subject(path)} is ${cut(written)}; it must be ${rule} ${limit}`
          : `${subject(path)} has ${count} ${count === 1 ? singular[counted] : counted}; it must have ${rule} ${limit}`,
    };
  },
  'not-a-multiple': ({ path, written, divisor }) => ({
    says: `${subject(path)} is ${cut(written)}; it must be a multiple of ${divisor}`,
  }),
  'bad-form': ({ path, written, form }) => ({
    says: `${subject(path)} is ${cut(written)}; it must have the form ${form}`,
  }),
  'bad-name': ({ path, name, says }) => ({ says: `${cut(path)}: \`${cut(name)}\` cannot be a name here; ${says}` }),
  quantity: ({ path, mistake }) => {
    const words = quantityMistakeWords(mistake);
    return { ...words, says: `${subject(path)}: ${words.says}` };
  },
  refused: ({ path, written, says, allowed, nearest }) => ({
    says:
      written === undefined
        ? path === ''
          ? says
          : `${cut(path)}: ${says}`
        : `${subject(path)} is ${cut(written)}; ${says}`,
    ...(allowed === undefined ? {} : { allowed }),
    ...near(nearest),
  }),
};

const singular = { items: 'item', characters: 'character', entries: 'entry' } as const;

const yamlSays: Readonly<Record<string, string>> = {
  ALIAS_PROPS: 'an alias (*name) takes no anchor or tag of its own',
  BAD_ALIAS: 'an anchor (&name) or alias (*name) needs a name, and a space before a colon',
  BAD_COLLECTION_TYPE: 'this tag does not fit what follows it',
  BAD_DIRECTIVE: 'this line beginning with % is no directive of YAML',
  BAD_DQ_ESCAPE: 'a backslash in double quotes begins an escape, and this is none; single quotes keep backslashes',
  BAD_INDENT: 'the indentation fits no line above; keys of one map begin in one column',
  BAD_PROP_ORDER: 'an anchor or tag stands after the indicator, not before it',
  BAD_SCALAR_START: 'a text cannot begin with this character; put it in quotes',
  BLOCK_AS_IMPLICIT_KEY: 'a second colon in one line; put the text in quotes, or the inner key on a line of its own',
  BLOCK_IN_FLOW: 'inside of { } or [ ] a comma must stand before this, or brackets around it',
  KEY_OVER_1024_CHARS: 'a key is at most 1024 characters long',
  MULTILINE_IMPLICIT_KEY: 'this line has no colon, or its key is spread over several lines',
  MULTIPLE_ANCHORS: 'a value has at most one anchor (&name)',
  MULTIPLE_TAGS: 'a value has at most one tag (!name)',
  NON_STRING_KEY: 'a key must be a plain word or text',
  RESOURCE_EXHAUSTION: 'nested too deep to be read',
  TAB_AS_INDENT: 'a tab cannot indent; use spaces',
  UNEXPECTED_TOKEN: 'this cannot stand here',
};

function yamlWords({ reason, missing }: FactsByCode['yaml']): Words {
  if (missing === '"' || missing === "'") return { says: `a quote ${missing} is opened and not closed` };
  if (missing === '}' || missing === ']') return { says: `a ${missing} is missing, or stands too far to the left` };
  if (missing !== undefined)
    return { says: /^[a-z]/.test(missing) ? `${missing} is missing` : `a \`${missing}\` is missing` };
  return { says: yamlSays[reason] ?? `this is not YAML (${reason})` };
}

const maxChoices = 32;
const maxCharacters = 80;

function choice(allowed: readonly string[], nearest?: string): Pick<Words, 'allowed' | 'nearest'> {
  return { ...(allowed.length === 0 ? {} : { allowed: list(allowed, ', ') }), ...near(nearest) };
}

function near(nearest: string | undefined): Pick<Words, 'nearest'> {
  return nearest === undefined ? {} : { nearest: cut(nearest) };
}

function list(words: readonly string[], separator: string): string {
  const shown = words.slice(0, maxChoices).map(cut).join(separator);
  return words.length > maxChoices ? `${shown}${separator}and ${words.length - maxChoices} more` : shown;
}

function cut(text: string): string {
  return text.length <= maxCharacters ? text : `${text.slice(0, maxCharacters - 3)}...`;
}

// The top of a file has no path.
function subject(path: string): string {
  return path === '' ? 'the file' : cut(path);
}
