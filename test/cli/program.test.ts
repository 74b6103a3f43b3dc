/** The command line as such: usage, suggestions, exit statuses, and which stream says what. */
import { describe, expect, test } from 'vitest';
import { jackstand } from '../../sim/cli/program.ts';
import { TOOL_VERSION } from '../../sim/cli/version.ts';
import { call, shipped } from './capture.ts';

describe('command line: usage', () => {
  test('without arguments the help goes to the messages, and the status says that nothing was run', async () => {
    const { status, out, err } = await call([]);
    expect(status).toBe(2);
    expect(out).toBe('');
    expect(err).toContain('Usage: jackstand');
    expect(err).toContain('Exit status: 0 all hold, 1 an expectation failed, 2 bad input or usage, 3');
  });

  test.each(['--help', '-h', 'help'])('%s prints the help as a result', async (flag) => {
    const { status, out, err } = await call([flag]);
    expect(status).toBe(0);
    expect(err).toBe('');
    for (const command of ['run', 'check', 'schema']) expect(out).toMatch(new RegExp(`^ {2}${command} `, 'm'));
  });

  test('every command has a help of its own', async () => {
    const { out } = await call(['--help']);
    const commands = [...out.matchAll(/^ {2}([a-z]+) (?:\[|<)/gm)].map(([, name]) => name!);
    expect(commands.length).toBeGreaterThan(3);
    for (const command of commands) {
      const helped = await call([command, '--help']);
      expect(helped.status).toBe(0);
      expect(helped.out).toContain(command === 'help' ? 'Usage: jackstand' : `Usage: jackstand ${command}`);
    }
  });

  test('help fits eighty columns', async () => {
    const { out } = await call(['run', '--help'], { columns: 80 });
    expect(Math.max(...out.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80);
  });

  test('--version prints the version and nothing else', async () => {
    expect(await call(['--version'])).toMatchObject({ status: 0, out: `${TOOL_VERSION}\n`, err: '' });
  });

  test.each([
    [['rnu'], "unknown command 'rnu'", 'Did you mean run?'],
    [['run', '--fromat', 'json'], "unknown option '--fromat'", 'Did you mean --format?'],
    [['run', '--format', 'xml'], "argument 'xml' is invalid", 'Allowed choices are text, json'],
    [['schema', 'bnech'], "'bnech' is invalid", 'Allowed choices are bench, scenario, result'],
    [['schema'], "missing required argument 'of'", 'add --help'],
    [['check'], "missing required argument 'paths'", 'add --help'],
    [['schema', 'bench', 'bench'], 'too many arguments', 'add --help'],
  ])('%j is refused with a hint', async (args, says, hint) => {
    const { status, out, err } = await call(args);
    expect(status).toBe(2);
    expect(out).toBe('');
    expect(err).toMatch(/^jackstand: /);
    expect(err).toContain(says);
    expect(err).toContain(hint);
  });
});

describe('command line: a fault of the tool itself', () => {
  test('is one plain line on the messages and status 3, with the file that brings it about', async () => {
    const messages: string[] = [];
    const status = await jackstand(['run', `${shipped}/cold-start.yaml`], {
      out: () => {
        throw new Error('the\u001b[31m stream broke');
      },
      err: (text) => void messages.push(text),
      isColoured: false,
      columns: undefined,
    });
    expect(status).toBe(3);
    expect(messages.join('')).toBe('jackstand: a fault of the tool itself, please report it: the?[31m stream broke\n');
  });
});
