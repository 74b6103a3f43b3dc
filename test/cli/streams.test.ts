/** What the streams of a process become: colours only for a terminal that wants them, and a status line that leaves no trace. */
import { PassThrough } from 'node:stream';
import { describe, expect, test } from 'vitest';
import { paintFor, processStreams } from '../../sim/cli/streams.ts';

interface Terminal {
  readonly isTTY?: boolean;
  readonly columns?: number;
}

function streamsOf(env: Record<string, string>, terminal: Terminal = { isTTY: true, columns: 40 }) {
  const exits: number[] = [];
  const stdout = Object.assign(new PassThrough(), terminal);
  const stderr = Object.assign(new PassThrough(), terminal);
  const streams = processStreams({ stdout, stderr, env, exit: (status: number) => void exits.push(status) } as never);
  return {
    streams,
    stdout,
    stderr,
    exits,
    errText: () => String(stderr.read() ?? ''),
    outText: () => String(stdout.read() ?? ''),
  };
}

describe('streams: colour', () => {
  test.each([
    ['a terminal', {}, { isTTY: true }, true],
    ['a pipe', {}, {}, false],
    ['a terminal and NO_COLOR', { NO_COLOR: '1' }, { isTTY: true }, false],
    // The convention at no-color.org: set and not empty.
    ['a terminal and an empty NO_COLOR', { NO_COLOR: '' }, { isTTY: true }, true],
    ['a terminal that can do nothing', { TERM: 'dumb' }, { isTTY: true }, false],
  ])('%s', (_name, env, terminal, isColoured) => {
    const { streams } = streamsOf(env, terminal);
    expect(streams.isColoured).toBe(isColoured);
    expect(paintFor(streams).bad('x')).toBe(isColoured ? '\u001b[31mx\u001b[39m' : 'x');
  });
});

describe('streams: status line', () => {
  test('is taken away before anything else is written, and cut so that it cannot wrap', () => {
    const { streams, errText, outText } = streamsOf({});
    streams.status?.(`running 1 of 2: ${'x'.repeat(60)}`);
    streams.out('holds\n');
    streams.status?.('running 2 of 2');
    streams.err('a message\n');
    streams.status?.('');
    expect(errText()).toBe(`running 1 of 2: ${'x'.repeat(23)}\r\u001b[Krunning 2 of 2\r\u001b[Ka message\n`);
    expect(outText()).toBe('holds\n');
  });
  test('is not there in a pipe', () => {
    expect(streamsOf({}, {}).streams.status).toBeUndefined();
  });
});

describe('streams: a reader that goes away', () => {
  const closed = Object.assign(new Error('write EPIPE'), { code: 'EPIPE' });
  test('ends the program as a closed pipe ends others', () => {
    const { stdout, exits } = streamsOf({}, {});
    stdout.emit('error', closed);
    expect(exits[0]).toBe(141);
  });
  test('of the messages does not', () => {
    const { stderr, exits } = streamsOf({}, {});
    stderr.emit('error', closed);
    expect(exits).toEqual([]);
  });
  test('a disk that is full is told, and is no success', () => {
    const { stdout, exits, errText } = streamsOf({}, {});
    stdout.emit('error', Object.assign(new Error('write'), { code: 'ENOSPC' }));
    expect(exits).toEqual([2]);
    expect(errText()).toBe('jackstand: the results could not be written (ENOSPC)\n');
  });
});
