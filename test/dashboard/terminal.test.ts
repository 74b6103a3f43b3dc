/** From end to end in a real pseudo-terminal: keys in, screen out, and the terminal left as it was found. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import { hasTmux, openPane, type Pane, skipReason } from './pane.ts';

const JACKSTAND = 'node --import tsx sim/cli/main.ts';
const UTF8 = { LC_ALL: 'C.UTF-8', TERM: 'screen-256color' };

const panes: Pane[] = [];
afterEach(() => {
  for (const pane of panes.splice(0)) pane.close();
});

function open(columns = 80, rows = 24, environment: Readonly<Record<string, string>> = UTF8): Pane {
  const pane = openPane(columns, rows, environment);
  panes.push(pane);
  return pane;
}

/** The shell's prompt below the command that was given. */
const PROMPT_AGAIN = /\n[^\n]*[#$] *\n*$/;

/** Alternate screen left, cursor shown, line mode and echo on, and what stood there before stands there again. */
async function expectClean(pane: Pane): Promise<void> {
  await pane.see(PROMPT_AGAIN);
  expect(pane.ask('#{alternate_on}')).toBe('0');
  expect(pane.ask('#{cursor_flag}')).toBe('1');
  pane.run('stty -a');
  const settings = await pane.see(/\bixon\b/);
  expect(settings).toMatch(/(^|\s)icanon\b/);
  expect(settings).toMatch(/(^|\s)echo\b/);
}

/** The process that runs in the pane's shell. */
function childOf(pane: Pane): number {
  const shell = pane.ask('#{pane_pid}');
  const found = execFileSync('ps', ['-o', 'pid=', '--ppid', shell], { encoding: 'utf8' }).trim().split(/\s+/);
  return Number(found.at(-1));
}

describe.skipIf(!hasTmux)(`terminal${hasTmux ? '' : `: ${skipReason}`}`, { timeout: 180_000 }, () => {
  test('show: a refusal is seen, stepped through, and left', async () => {
    const pane = open();
    pane.run(`${JACKSTAND} show scenarios/orchard-cart/idle-one-too-high.yaml --at '0.25 s'; echo status=$?`);
    await pane.see(/250 ms of 6 s/);
    pane.keys('n', 'n', 'n', 'n');
    await pane.see(/left refusing .* 16 us over/);
    pane.keys('w');
    await pane.see(/16 us above its arming/);
    pane.keys('x', '9');
    await pane.see(/5\.4 s of 6 s/);
    pane.keys('q');
    await pane.see(/status=0/);
    await expectClean(pane);
  });

  test('show: plays in real time to the end of the run', async () => {
    const pane = open(120, 40);
    pane.run(`${JACKSTAND} show scenarios/orchard-cart/cold-start.yaml`);
    await pane.see(/▶/);
    await pane.see(/‖ 6 s of 6 s/);
    await pane.see(/7 hold 0 fail 0 open/);
    pane.keys('C-c');
    await expectClean(pane);
  });

  test('drive: arm, press, break a wire, save, replay to the same digest', async () => {
    const pane = open(160, 50);
    const file = join(mkdtempSync(join(tmpdir(), 'jackstand-')), 'driven.yaml');
    pane.run(`${JACKSTAND} drive scenarios/orchard-cart/bench.yaml; echo status=$?`);
    await pane.see(/p switches the power on/);
    pane.keys('p');
    await pane.see(/left: neutral/);
    pane.keys('8');
    await pane.see(/left: driving/);
    pane.keys('f');
    const menu = await pane.see(/signal-open/);
    const place = menu
      .split('\n')
      .slice(3)
      .findIndex((row) => row.includes('signal-open'));
    pane.keys(...Array<string>(place).fill('Down'), 'Enter');
    await pane.see(/left: braking/);
    pane.keys('s');
    await pane.see(/driven\.yaml_/);
    pane.keys(...Array<string>('driven.yaml'.length).fill('BSpace'));
    pane.type(file);
    pane.keys('Enter');
    const saved = await pane.see(/digest [0-9a-f]{16}/);
    const digest = /digest ([0-9a-f]{16})/.exec(saved)![1]!;
    pane.keys('q');
    await pane.see(/status=0/);
    await expectClean(pane);
    expect(readFileSync(file, 'utf8')).toContain('signal-open');
    const output = execFileSync('node', ['--import', 'tsx', 'sim/cli/main.ts', 'run', file, '--format', 'json'], {
      encoding: 'utf8',
    });
    expect((JSON.parse(output) as { runs: { digest: string }[] }).runs[0]!.digest).toBe(digest);
  });

  test.each([
    ['SIGTERM', 143],
    ['SIGHUP', 129],
    ['SIGINT', 130],
  ] as const)('%s leaves a clean terminal, and its own status %d', async (signal, status) => {
    const pane = open();
    pane.run(`${JACKSTAND} show scenarios/orchard-cart/cold-start.yaml --at '1 s'`);
    await pane.see(/1 s of 6 s/);
    expect(pane.ask('#{alternate_on}')).toBe('1');
    process.kill(childOf(pane), signal);
    await pane.see(PROMPT_AGAIN);
    pane.run('echo status=$?');
    await pane.see(new RegExp(`status=${status}`));
    await expectClean(pane);
  });

  test('a fault of the tool itself leaves a clean terminal, and its message can be read', async () => {
    const pane = open();
    pane.run('node --import tsx test/dashboard/crash.ts; echo status=$?');
    expect(await pane.see(/status=[1-9]/)).toContain('a fault for the test');
    await expectClean(pane);
  });

  test('made smaller than 80 x 24 it says so, made larger it goes on', async () => {
    const pane = open(100, 30);
    pane.run(`${JACKSTAND} show scenarios/orchard-cart/cold-start.yaml --at '1 s'`);
    await pane.see(/1 s of 6 s/);
    pane.resize(70, 20);
    await pane.see(/needs 80 x 24/);
    pane.resize(120, 40);
    const screen = await pane.see(/1 s of 6 s/);
    expect(screen.split('\n')[39]).toContain('q quit');
    pane.keys('q');
  });

  test('without UTF-8 it is ASCII', async () => {
    const pane = open(80, 24, { LC_ALL: 'C', TERM: 'screen' });
    pane.run(`${JACKSTAND} show scenarios/orchard-cart/idle-one-too-high.yaml --at '0.4 s'`);
    const screen = await pane.see(/16 us over/);
    expect(screen).toMatch(/\[=*\]\.*\^/);
    expect(screen.replace(/\n/g, '')).toMatch(/^[\u0020-\u007e]*$/);
    pane.keys('q');
  });
});
