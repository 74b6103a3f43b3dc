/** A module of firmware logic on the bench: wired to real parts, compared with the mapping law, stopped, saved and told of. */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type Act, type Assembly, assemble } from '../../../../sim/bench/assemble.ts';
import { loadBench } from '../../../../sim/bench/load-bench.ts';
import { printProblems } from '../../../../sim/bench/print.ts';
import { settleParts } from '../../../../sim/bench/schema.ts';
import { parseSource } from '../../../../sim/bench/source.ts';
import { record } from '../../../../sim/trace/record.ts';
import type { Trace } from '../../../../sim/trace/trace.ts';
import { call, folderWith, shipped } from '../../../cli/capture.ts';

const folder = fileURLToPath(new URL('.', import.meta.url));
const firmwareFolder = fileURLToPath(new URL('../../../../scenarios/orchard-cart/firmware/', import.meta.url));

function load(firmware: string): ReturnType<typeof loadBench> {
  const overrides = firmware === '' ? undefined : parseSource(join(folder, 'with'), `board.firmware: ${firmware}`).tree;
  return loadBench(join(folder, 'bench.yaml'), overrides);
}

function ready(firmware: string, acts: readonly Act[] = []): Assembly {
  const { value, problems } = load(firmware);
  expect(problems.filter(({ severity }) => severity === 'error')).toEqual([]);
  return assemble(settleParts(value!.parts), 7, [connect, ...acts]);
}

function run(firmware: string, seconds: number, acts: readonly Act[] = []): { assembly: Assembly; trace: Trace } {
  const assembly = ready(firmware, acts);
  const recorder = record(assembly, 'all');
  recorder.runTo(seconds);
  return { assembly, trace: recorder.trace };
}

const connect: Act = { seconds: 0, part: 'battery', form: 'connect', contents: undefined };
const press = (seconds: number, share: number, over = 0.1): Act => ({
  seconds,
  part: 'pedal',
  form: 'press',
  contents: { press: share, over },
});
const samples = (trace: Trace, signal: string, from = 0): [number, number][] =>
  [...trace.column(signal)!].filter((one) => one.seconds >= from).map((one) => [one.seconds, one.value]);
const at = (trace: Trace, signal: string, seconds: number): number => trace.column(signal)!.at(seconds);
const modeAt = (trace: Trace, part: string, seconds: number): string =>
  trace.column(`${part}.mode`)!.signal.modes![at(trace, `${part}.mode`, seconds)]!;
const said = (assembly: Assembly): string[] => assembly.findings.map(({ says }) => says);

const files = mkdtempSync(join(tmpdir(), 'module-files-'));
function script(name: string, text: string): string {
  writeFileSync(join(files, name), text);
  return `{ kind: module, file: ${join(files, name)} }`;
}
const MODULES = ['law.wasm', 'law.ts'] as const;

/** A foot that goes from here to there, at instants that only rise. */
const drives = fc
  .array(
    fc.record({
      wait: fc.double({ min: 0.02, max: 0.4, noNaN: true }),
      share: fc.double({ min: 0, max: 1, noNaN: true }),
    }),
    {
      minLength: 1,
      maxLength: 6,
    },
  )
  .map((list) => {
    let seconds = 0.1;
    return list.map(({ wait, share }) => {
      seconds += wait;
      return press(seconds, share, Math.min(wait / 2, 0.1));
    });
  });

describe('module on the bench: against the mapping law', () => {
  test.each(MODULES)('law: %s gives the pulse train of the mapping law for any drive', (file) => {
    fc.assert(
      fc.property(drives, (acts) => {
        const own = run(`{ kind: module, file: ${file} }`, 2, acts).trace;
        const model = run('', 2, acts).trace;
        for (const signal of ['adc.count', 'firmware.compare', 'pwm.line', 'left.drive'])
          expect([signal, samples(own, signal)]).toEqual([signal, samples(model, signal)]);
        expect(samples(own, 'pwm.line').length).toBeGreaterThan(100);
      }),
      { seed: 20261125, numRuns: 8 },
    );
  });
});

describe('module on the bench: saved and restored', () => {
  const firmwares = ['law.wasm', 'shapes.wasm', 'law.ts', 'shapes.ts'];
  test.each(firmwares)('%s: going on from a snapshot equals running through', (file) => {
    const firmware = `{ kind: module, file: ${file} }`;
    const acts = [press(0.3, 0.6), press(0.5, 0.1)];
    const straight = ready(firmware, acts);
    straight.kernel.run(0.8);
    const digest = straight.kernel.digestText();
    fc.assert(
      fc.property(
        fc.double({ min: 0.01, max: 0.79, noNaN: true }),
        fc.double({ min: 0, max: 0.8, noNaN: true }),
        (cutSeconds, otherSeconds) => {
          const cut = ready(firmware, acts);
          cut.kernel.run(cutSeconds);
          const saved = cut.kernel.save();
          cut.kernel.run(0.8);
          expect(cut.kernel.digestText()).toBe(digest);
          cut.kernel.restore(saved);
          cut.kernel.run(0.8);
          expect(cut.kernel.digestText()).toBe(digest);
          // The same snapshot in another kernel, which has been elsewhere.
          const other = ready(firmware, acts);
          other.kernel.run(otherSeconds);
          other.kernel.restore(saved);
          other.kernel.run(0.8);
          expect(other.kernel.digestText()).toBe(digest);
        },
      ),
      { seed: 20261125, numRuns: 8 },
    );
  });
});

describe('module on the bench: what it is wired to', () => {
  test('a closed contact of the selector reads low, an open one high, and a pin that it sets itself reads back', () => {
    const text = `let ones = 0;
export function pass(board) {
  board.setPin(1, ones > 3);
  ones += board.readPin(4);
  board.setCompare(board.readPin(4) * 10 + board.readPin(5) + board.readPin(1) * 100);
}`;
    const firmware = script('pins.ts', text).replace(' }', ', pins: { selector: { forward: 4, reverse: 5 } } }');
    const to = (seconds: number, word: string): Act => ({
      seconds,
      part: 'selector',
      form: 'to',
      contents: { to: word },
    });
    const { trace } = run(firmware, 1.5, [to(0.6, 'forward'), to(1, 'reverse')]);
    expect(at(trace, 'firmware.compare', 0.55)).toBe(111);
    expect(at(trace, 'firmware.compare', 0.95)).toBe(101);
    expect(at(trace, 'firmware.compare', 1.45)).toBe(110);
    expect(at(trace, 'firmware.pins', 0.08)).toBe(0);
    expect(at(trace, 'firmware.pins', 1.45)).toBe(2);
  });
  test("the receiver's pulse in microseconds, and the time since the program started", () => {
    const text = 'export function pass(board) { board.setCompare(board.readPulse() + board.timeUs()); }';
    const { trace } = run(script('radio.ts', text), 0.3);
    // Start-up takes 65 ms; the first pass comes 10 ms later, its count 25 ADC clocks of 64 cycles of 125 ns after that.
    const [first] = samples(trace, 'firmware.compare', 0.07);
    expect(first![1]).toBe(1500 + 10_000 + 25 * 8);
  });
  test('what it prints goes out byte by byte at the rate of the serial port', () => {
    const text = "export function init(board) { board.print('hé'); } export function pass(board) {}";
    const { trace } = run(script('print.ts', text), 0.2);
    const sent = samples(trace, 'firmware.sent').filter(([seconds]) => seconds > 0);
    expect(new TextDecoder().decode(Uint8Array.from(sent, ([, byte]) => byte))).toBe('hé');
    // Ten bits at 9600 a second.
    expect(sent[0]![0] - 0.065).toBeCloseTo(10 / 9600, 9);
    expect(sent[2]![0] - sent[1]![0]).toBeCloseTo(10 / 9600, 9);
  });
  test('printing faster than that is told of', () => {
    const text = "export function pass(board) { board.print('a line that is much too long for ten milliseconds\\n'); }";
    const { assembly } = run(script('flood.ts', text), 0.5);
    expect(said(assembly)).toEqual([expect.stringMatching(/^the program prints faster than its serial port sends/)]);
  });
});

describe('module on the bench: text comes in over its serial port', () => {
  const send = (seconds: number, text: string): Act => ({
    seconds,
    part: 'firmware',
    form: 'receive',
    contents: { receive: text },
  });
  const echo = `export function pass(board) {
    for (let byte = board.readByte(); byte >= 0; byte = board.readByte()) board.print(String(byte) + ' ');
  }`;
  const printed = (trace: Trace): string =>
    String.fromCharCode(
      ...samples(trace, 'firmware.sent')
        .filter(([, value]) => value > 0)
        .map(([, value]) => value),
    );
  /** Stores how many bytes it has heard so far. */
  const counting = `let heard = 0; export function pass(board) {
    while (board.readByte() >= 0) heard += 1;
    board.setCompare(heard);
  }`;
  test('ten bits a byte at `serial-rate`: so many bytes have come when a pass looks', () => {
    // Slow, so that a byte takes 8 passes: 10 bits at 125 a second are 80 ms.
    const firmware = script('counting.ts', counting).replace(' }', ', serial-rate: 125 1/s }');
    const { trace } = run(firmware, 0.7, [send(0.2, 'abc')]);
    for (const [seconds, heard] of [
      [0.279, 0],
      [0.295, 1],
      [0.359, 1],
      [0.375, 2],
      [0.439, 2],
      [0.455, 3],
      [0.69, 3],
    ] as const)
      expect([seconds, at(trace, 'firmware.compare', seconds)]).toEqual([seconds, heard]);
  });
  test('one byte a character, in order; two texts one after the other', () => {
    const firmware = script('echo.ts', echo).replace(' }', ', serial-rate: 115200 1/s }');
    const { trace } = run(firmware, 0.5, [send(0.2, 'aí'), send(0.2, '\0y'), send(0.4, '#')]);
    expect(printed(trace)).toBe('97 237 0 121 35 ');
  });
  test('a text waits until the program runs, and nothing that came before lasts beyond a loss of supply', () => {
    const firmware = script('counting.ts', counting);
    // The program starts at 65 ms: 5 bytes at 9600 bits a second have then come within 6 ms.
    const early = run(firmware, 0.2, [send(0, 'early')]);
    expect(at(early.trace, 'firmware.compare', 0.066)).toBe(0);
    expect(at(early.trace, 'firmware.compare', 0.1)).toBe(5);
    const late = script(
      'late.ts',
      'export function pass(board) { if (board.timeUs() > 200000) board.setCompare(board.readByte() + 1); }',
    );
    const again: Act[] = [
      send(0.2, 'lost text'),
      { seconds: 0.3, part: 'battery', form: 'disconnect', contents: undefined },
      { seconds: 0.5, part: 'battery', form: 'connect', contents: undefined },
    ];
    const { trace } = run(late, 0.8, again);
    expect(at(trace, 'firmware.compare', 0.29)).not.toBe(0);
    expect(at(trace, 'firmware.compare', 0.79)).toBe(0);
  });
  test('while the board is off no byte comes in: the one under way begins anew', () => {
    const firmware = script('counting.ts', counting).replace(' }', ', serial-rate: 125 1/s }');
    const { trace } = run(firmware, 0.9, [
      send(0.2, 'abcd'),
      { seconds: 0.3, part: 'battery', form: 'disconnect', contents: undefined },
      { seconds: 0.5, part: 'battery', form: 'connect', contents: undefined },
    ]);
    expect(at(trace, 'firmware.compare', 0.295)).toBe(1);
    // The program starts again at 565 ms; a byte takes 80.
    expect(at(trace, 'firmware.compare', 0.64)).toBe(0);
    expect(at(trace, 'firmware.compare', 0.66)).toBe(1);
    expect(at(trace, 'firmware.compare', 0.89)).toBe(3);
  });
  test('what nobody reads is told of once it is more than 511 bytes', () => {
    const firmware = script('idle.ts', 'export function pass(board) {}').replace(' }', ', serial-rate: 115200 1/s }');
    const texts = (count: number): Act[] =>
      Array.from({ length: count }, (_, index) => send(0.2 + index * 0.05, 'x'.repeat(100)));
    expect(said(run(firmware, 0.6, texts(5)).assembly)).toEqual([]);
    expect(said(run(firmware, 0.6, [...texts(5), send(0.5, 'x'.repeat(11))]).assembly)).toEqual([]);
    expect(said(run(firmware, 0.6, texts(6)).assembly)).toEqual([
      'the program does not read what comes in over its serial port: what is beyond 511 bytes is lost',
    ]);
    expect(
      said(
        run(
          firmware,
          0.3,
          Array.from({ length: 6 }, () => send(0.2, 'x'.repeat(100))),
        ).assembly,
      ),
    ).toContain('more text is sent to the program than can wait: what is beyond 511 bytes is lost');
  });
  test('law: a snapshot in the middle of a text, either way, goes on as it was', () => {
    const firmware = script('slow-echo.ts', echo).replace(' }', ', serial-rate: 2000 1/s }');
    const acts = [send(0.1, 'one two'), send(0.2, 'three four five'), send(0.5, 'six')];
    const straight = ready(firmware, acts);
    straight.kernel.run(0.8);
    const digest = straight.kernel.digestText();
    const instant = fc.double({ min: 0.05, max: 0.79, noNaN: true });
    fc.assert(
      fc.property(instant, instant, (cut, elsewhere) => {
        const one = ready(firmware, acts);
        one.kernel.run(cut);
        const saved = one.kernel.save();
        const other = ready(firmware, acts);
        other.kernel.run(elsewhere);
        other.kernel.restore(saved);
        other.kernel.run(0.8);
        expect(other.kernel.digestText()).toBe(digest);
      }),
      { seed: 20261125, numRuns: 20 },
    );
  });
  test('in a scenario as with an image: `firmware: { receive: ... }`, and what is answered goes to `run --serial`', async () => {
    const place = folderWith({
      'firmware/echo.ts': `import type { Board } from './jackstand.d.ts';
export function pass(board: Board): void {
  for (let byte = board.readByte(); byte >= 0; byte = board.readByte()) board.print(byte === 63 ? '46!' : '');
}
`,
      'asked.yaml': `scenario: asked
bench: bench.yaml
with: { board.firmware: { kind: module, file: firmware/echo.ts } }
seed: 7
duration: 1 s
steps: [{ at: 0 s, battery: connect }, { at: 500 ms, firmware: { receive: "go?" } }]
expect: [{ that: left.drive = 0, always: true }]
`,
    });
    const { status, err } = await call(['run', join(place, 'asked.yaml'), '--serial', join(place, 'answer')]);
    expect({ status, err }).toEqual({ status: 0, err: '' });
    expect(readFileSync(join(place, 'answer'), 'latin1')).toBe('46!');
  });
});

describe('module on the bench: it comes to a halt', () => {
  const afterHalfASecond = 'export function pass(board) { board.setCompare(50); if (board.timeUs() > 500000) HALT }';
  const endless = script('endless.ts', afterHalfASecond.replace('HALT', 'for (;;) {}'));
  test('the line goes on with the last pulse until the watchdog of the board starts the program anew', () => {
    const { assembly, trace } = run(endless, 2);
    const [first] = samples(trace, 'board.resets', 0.1);
    // It started at 65 ms; the pass after 500 ms came at 570 ms or so, and the watchdog 200 ms after it.
    expect(modeAt(trace, 'firmware', 0.6)).toBe('looping');
    expect(at(trace, 'board.program', 0.6)).toBe(2);
    expect(samples(trace, 'pwm.line', 0.6).filter(([seconds]) => seconds < 0.75).length).toBeGreaterThan(10);
    expect(first![0]).toBeGreaterThan(0.765);
    expect(first![0]).toBeLessThan(0.79);
    expect(modeAt(trace, 'firmware', 0.9)).toBe('running');
    expect(at(trace, 'board.resets', 2)).toBe(2);
    expect(said(assembly).slice(0, 2)).toEqual([
      expect.stringMatching(
        /^the program never ends in pass \d+, in pass \(endless\.ts:1\): it did not come back within 1000000 steps/,
      ),
      'the watchdog reset the board, whose program had stopped',
    ]);
  });
  test('a trap is told with what it was, and the pulse stays', () => {
    const { assembly, trace } = run(script('trap.ts', afterHalfASecond.replace('HALT', "throw 'no way on';")), 0.7);
    expect(said(assembly)[0]).toMatch(
      /^the program breaks off in pass \d+, in pass \(trap\.ts:1\): it throws: no way on$/,
    );
    expect(modeAt(trace, 'firmware', 0.7)).toBe('trapped');
    expect(at(trace, 'pwm.pulse', 0.7)).toBeCloseTo(51 * 32e-6, 9);
  });
  test('in `init` as well', () => {
    const { assembly } = run(
      script('init.ts', 'export function init(board) { init(board); } export function pass(board) {}'),
      0.1,
    );
    expect(said(assembly)[0]).toMatch(
      /^the program breaks off in `init`, in init \(init\.ts:1\): its calls nest deeper than 200$/,
    );
  });
  test('a program that is made to stand still goes on where it was when that is mended', () => {
    const acts: Act[] = [
      { seconds: 0.4, part: 'board', event: 'program-hung', amount: 0 },
      { seconds: 0.5, part: 'board', event: 'mend program-hung', amount: 0 },
    ];
    const { trace } = run(
      script('counts.ts', 'let n = 0; export function pass(board) { n += 1; board.setCompare(n); }'),
      0.7,
      acts,
    );
    const passes = (from: number, until: number): number =>
      samples(trace, 'firmware.compare', from).filter(([seconds]) => seconds < until).length;
    expect(passes(0.41, 0.5)).toBe(0);
    expect(passes(0.505, 0.655)).toBe(15);
    expect(at(trace, 'firmware.compare', 0.7)).toBe(samples(trace, 'firmware.compare', 0.05).at(-1)![1]);
    expect(at(trace, 'board.resets', 0.7)).toBe(0);
  });
  test.each([
    ['a script', 'counts.ts'],
    ['WebAssembly', 'shapes.wasm'],
  ])('%s begins anew after the supply was gone, with all its variables', (_name, file) => {
    const again: Act[] = [
      { seconds: 0.4, part: 'battery', form: 'disconnect', contents: undefined },
      { seconds: 0.6, part: 'battery', form: 'connect', contents: undefined },
    ];
    const counting = script('counts.ts', 'let n = 0; export function pass(board) { n += 1; board.setCompare(n); }');
    const { trace } = run(file === 'counts.ts' ? counting : `{ kind: module, file: ${file} }`, 0.9, again);
    const did = (signal: string, from: number, until: number): number[] =>
      samples(trace, `firmware.${signal}`, from)
        .filter(([seconds]) => seconds < until)
        .map(([, value]) => value);
    for (const signal of ['compare', ...(file === 'shapes.wasm' ? ['sent'] : [])]) {
      const first = did(signal, 0.06, 0.3);
      expect(did(signal, 0.6, 0.9).slice(0, first.length)).toEqual(first);
      expect(did(signal, 0.45, 0.6)).toEqual([]);
      expect(first.length).toBeGreaterThan(1);
    }
  });
  test('once it has come to a halt it asks for no conversion, and being hung and mended does not wake it', () => {
    const acts: Act[] = [
      { seconds: 0.6, part: 'board', event: 'program-hung', amount: 0 },
      { seconds: 0.62, part: 'board', event: 'mend program-hung', amount: 0 },
    ];
    const trap = script('trap.ts', afterHalfASecond.replace('HALT', "throw 'no way on';"));
    const { trace } = run(trap, 0.75, acts);
    expect(samples(trace, 'firmware.convert', 0.58)).toEqual([]);
    expect(modeAt(trace, 'firmware', 0.75)).toBe('trapped');
  });
  test('a restart begins with no pin high and no count', () => {
    const text = `export function init(board) { board.setCompare(100 + board.readCount() + board.readPin(1)); }
export function pass(board) { if (board.timeUs() > 100000) board.setPin(1, true); }`;
    const { trace } = run(script('restart.ts', text), 0.66, [
      { seconds: 0.3, part: 'battery', form: 'disconnect', contents: undefined },
      { seconds: 0.5, part: 'battery', form: 'connect', contents: undefined },
    ]);
    expect(at(trace, 'firmware.pins', 0.29)).toBe(2);
    expect(at(trace, 'firmware.pins', 0.6)).toBe(0);
    expect(samples(trace, 'firmware.compare', 0.05).map(([, value]) => value)).not.toContain(101);
    expect(at(trace, 'firmware.compare', 0.6)).toBe(100);
  });
  test('what is stored over and over is told once: the same run as stored once', () => {
    const digest = (name: string, text: string): string => {
      const assembly = ready(script(name, text));
      assembly.kernel.run(0.5);
      return assembly.kernel.digestText();
    };
    expect(
      digest('each.ts', 'export function init(b) { b.setCompare(46); } export function pass(b) { b.setCompare(46); }'),
    ).toBe(digest('once.ts', 'export function init(b) { b.setCompare(46); } export function pass(b) {}'));
  });
  test('a cause names the values that would have done', async () => {
    const place = folderWith({
      'firmware/high.ts':
        'export function pass(board: { setCompare(n: number): void }): void { board.setCompare(50); }\n',
      'module-script-cold-start.yaml': (text) => text.replace('cart-pass.ts', 'high.ts'),
    });
    const { status, out } = await call(['run', join(place, 'module-script-cold-start.yaml')]);
    expect(status).toBe(1);
    // 1480 to 1520 us arm; compare 46 gives 47 steps of 32 us, 1504 us, and its neighbours lie outside of that.
    expect(out).toMatch(
      /pass 1 of the program stored 50 as the compare value, in pass \(high\.ts:1\), with count \d+; 46 would arm/,
    );
  });
  test('the shipped twin: a finding with instant, pass and function; status 1 where its failure is not stated', async () => {
    const twin = 'module-never-ends.yaml';
    const stated = await call(['run', `${shipped}/${twin}`]);
    expect(stated.status).toBe(0);
    expect(stated.out).toContain(
      '4.0151 s  firmware: the program never ends in pass 395, in ease_to: it did not come back within',
    );
    expect(stated.out).toMatch(/pass \d+ of the program stored 62 as the compare value, in pass, with count \d+/);
    const place = folderWith({ [twin]: (text) => text.replace('fails: true, ', '') });
    const plain = await call(['run', join(place, twin)]);
    expect(plain.status).toBe(1);
    expect(plain.out).toContain('the program never ends in pass 395, in ease_to');
  });
});

describe('module files: what is wrong with them is told at the line that names them, with a place of their own', () => {
  const problems = (firmware: string): string =>
    printProblems(load(firmware).problems, { width: 200, colours: false } as never);
  test('a script: file, line and column', () => {
    const bad = script('bad.ts', 'export function pass(board) {\n  const now = Date.now();\n}\n');
    expect(problems(bad)).toMatch(/with:1:\d+: board\.firmware\.file is \S+; bad\.ts:2:15: there is no function `now`/);
  });
  test('WebAssembly: file and byte', () => {
    writeFileSync(join(files, 'cut.wasm'), readFileSync(join(folder, 'law.wasm')).subarray(0, 60));
    expect(problems(`{ kind: module, file: ${join(files, 'cut.wasm')} }`)).toMatch(
      /board\.firmware\.file is \S+; cut\.wasm, byte \d+: this is no valid WebAssembly/,
    );
  });
  test('there is none, and the nearest name is shown', () => {
    expect(problems('{ kind: module, file: lwa.wasm }')).toContain('law.wasm');
  });
  test('the folder of these files is removed again', () => {
    rmSync(files, { recursive: true });
  });
});

describe('module files: they are what their sources say', () => {
  const versionOf = (command: string): string | undefined =>
    /(?:version|rustc) (\d\S*)/.exec(spawnSync(command, ['--version']).stdout?.toString() ?? '')?.[1];
  // Debian's: another one in front of it on the path may know no WebAssembly.
  const rustc = existsSync('/usr/bin/rustc') ? '/usr/bin/rustc' : 'rustc';
  // Another version of a compiler makes other code; the files are of these.
  const isHere = {
    modules: versionOf('clang') === '14.0.6',
    rust: versionOf(rustc) === '1.63.0' && existsSync('/usr/lib/rustlib/wasm32-unknown-unknown'),
  };
  test.for([
    ['tests', 'modules', ['law.wasm', 'shapes.wasm', 'features-cpp.wasm']],
    ['cart', 'modules', ['cart-pass.wasm', 'cart-pass-loop.wasm', 'cart-pass-cpp.wasm']],
    ['tests', 'rust', ['features-rust.wasm']],
    ['cart', 'rust', ['cart-pass-rust.wasm']],
  ] as const)('of the %s, %s: rebuilding gives the same bytes', ([place, what, names], { skip }) => {
    if (!isHere[what])
      skip(`${what === 'rust' ? 'rustc 1.63.0 with libstd-rust-dev-wasm32' : 'clang 14.0.6'} is not here`);
    const where = place === 'cart' ? firmwareFolder : folder;
    const out = mkdtempSync(join(tmpdir(), 'module-build-'));
    const built = spawnSync(join(where, 'build.sh'), [out, what], { env: { ...process.env, RUSTC: rustc } });
    expect([built.status, String(built.stderr)]).toEqual([0, '']);
    for (const name of names)
      expect(readFileSync(join(out, name)).equals(readFileSync(join(where, name))), name).toBe(true);
    rmSync(out, { recursive: true });
  });
});
