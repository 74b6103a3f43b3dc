/**
 * What a stranger gets: the project is packed, the tarball installed into an empty folder, and used from there: commands,
 * library, matchers and their types. Packed from a copy, so that no other test finds `dist` half built.
 *
 * Installing asks the package registry (or npm's cache) for the packages that stay outside of the bundle; without either
 * these tests say so and skip.
 */
import { spawnSync } from 'node:child_process';
import {
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { root } from './project/sources.ts';

const source = mkdtempSync(join(tmpdir(), 'jackstand-source-'));
const home = mkdtempSync(join(tmpdir(), 'jackstand-home-'));

/** All that the build reads. */
const built = [
  'sim',
  'models',
  'scenarios',
  'package.json',
  'package-lock.json',
  'README.md',
  'LICENSE',
  'CHANGELOG.md',
  'esbuild.config.ts',
  'tsconfig.json',
  'tsconfig.build.json',
];

interface Ended {
  readonly status: number | null;
  readonly out: string;
  readonly err: string;
}

function runIn(folder: string, command: string, args: readonly string[]): Ended {
  // What npm tells the scripts that it starts must not steer the one that is started here.
  const env = Object.fromEntries(Object.entries(process.env).filter(([name]) => !/^npm_|^VITEST|^CI$/i.test(name)));
  const { status, stdout, stderr } = spawnSync(command, args, {
    cwd: folder,
    encoding: 'utf8',
    env: { ...env, NO_COLOR: '1', LANG: 'C.UTF-8' },
  });
  return { status, out: stdout, err: stderr };
}

const npx = (...args: string[]): Ended => runIn(home, 'npx', ['--no-install', 'jackstand', ...args]);

interface Packed {
  readonly filename: string;
  readonly size: number;
  readonly files: readonly { readonly path: string; readonly size: number }[];
}

function pack(): Packed {
  for (const name of built) cpSync(join(root, name), join(source, name), { recursive: true });
  symlinkSync(join(root, 'node_modules'), join(source, 'node_modules'));
  for (const script of ['esbuild.config.ts', 'tsconfig.build.json']) {
    const [command, ...args] = script.endsWith('.ts') ? ['tsx', script] : ['tsc', '-p', script];
    const { status, out, err } = runIn(source, join(root, 'node_modules', '.bin', command!), args);
    expect({ status, told: status === 0 ? '' : out + err }).toEqual({ status: 0, told: '' });
  }
  const { out, err } = runIn(source, 'npm', ['pack', '--ignore-scripts', '--json', '--pack-destination', home]);
  expect(out, err).toMatch(/^\[/);
  return (JSON.parse(out) as Packed[])[0]!;
}

const unreachable = /ENOTFOUND|EAI_AGAIN|ECONNREFUSED|ENETUNREACH|ETIMEDOUT|ENOTCACHED/;
const packed = pack();
writeFileSync(join(home, 'package.json'), '{ "private": true, "type": "module" }\n');
const install = runIn(home, 'npm', ['install', '--prefer-offline', '--no-audit', '--no-fund', `./${packed.filename}`]);
const isInstalled = install.status === 0 || !unreachable.test(install.err);
if (!isInstalled) process.stderr.write('package: not tried, as the package registry cannot be reached\n');

describe('package: contents', () => {
  test('the bundle, its declarations, the scenarios and four documents; nothing else', () => {
    const allowed = [
      /^(README|CHANGELOG)\.md$|^LICENSE$|^package\.json$/,
      /^dist\/(cli|index|vitest|worker)\.js$/,
      /^dist\/[a-zA-Z-]+-[A-Z0-9]{8}\.js$/,
      /^dist\/parser\.cjs$/,
      /^dist\/LICENSES\.txt$/,
      /^dist\/assets\/[\w.]+\.(js|css)$/,
      /^dist\/types\/.+\.d\.ts$/,
      /^scenarios\/.+\.(yaml|yml|md|json)$/,
      /^scenarios\/(orchard-cart\/firmware|examples)\/[\w./-]+$/,
    ];
    const others = packed.files.filter(({ path }) => !allowed.some((one) => one.test(path)));
    expect(others).toEqual([]);
    for (const file of ['dist/cli.js', 'dist/index.js', 'dist/vitest.js', 'dist/worker.js', 'dist/LICENSES.txt'])
      expect(packed.files.map(({ path }) => path)).toContain(file);
    expect(packed.files.some(({ path }) => /(^|\/)(test|node_modules|\.ci)\//.test(path))).toBe(false);
  });

  test('a download of at most 1.2 MB', () => {
    expect(packed.size).toBeLessThan(1_200_000);
  });
});

describe.runIf(isInstalled)('package: installed in an empty folder', () => {
  beforeAll(() => {
    expect(install.err.replaceAll(/^npm (warn|notice).*$/gm, '').trim()).toBe('');
    expect(install.status).toBe(0);
  });

  test('no package that came along builds anything or runs a script at its installation', () => {
    const modules = join(home, 'node_modules');
    const folders = readdirSync(modules).flatMap((name) =>
      name.startsWith('@') ? readdirSync(join(modules, name)).map((inner) => `${name}/${inner}`) : [name],
    );
    const names = folders.filter((name) => existsSync(join(modules, name, 'package.json')));
    expect(names.sort()).toEqual(['elkjs', 'jackstand', 'tinypool', 'xstate', 'yaml', 'zod']);
    for (const name of names) {
      const { scripts = {} } = JSON.parse(readFileSync(join(modules, name, 'package.json'), 'utf8')) as {
        scripts?: Record<string, string>;
      };
      expect(Object.keys(scripts).filter((script) => /^(pre|post)?install$/.test(script))).toEqual([]);
      expect(existsSync(join(modules, name, 'binding.gyp'))).toBe(false);
    }
  });

  test('new: measured values become a bench with scenarios, which are checked and run', () => {
    const made = npx('new', 'bench', '--usual', '--pedal-rest', '0.84 V ± 30 mV', '--tuned');
    expect(made).toMatchObject({ status: 0, err: expect.not.stringContaining('fault of the tool') });
    expect(readFileSync(join(home, 'bench', 'bench.yaml'), 'utf8')).toContain('0.84 V');
    const checked = npx('check', 'bench');
    expect(checked).toMatchObject({ status: 0 });
    const ran = npx('run', 'bench');
    expect({ status: ran.status, err: ran.err }).toEqual({ status: 0, err: '' });
    expect(ran.out).toMatch(/\d+ scenarios?: \d+ hold, 0 fail/);
  });

  test('run: the shipped scenarios, from where they were installed', () => {
    const { status, out, err } = npx('run', 'node_modules/jackstand/scenarios/orchard-cart/cold-start.yaml');
    expect({ status, err }).toEqual({ status: 0, err: '' });
    expect(out).toContain('least margin 16 us');
  });

  test('run: a shipped suite on a bench of one’s own', () => {
    cpSync(join(home, 'node_modules/jackstand/scenarios/orchard-cart/bench.yaml'), join(home, 'cart.yaml'));
    const { status, out } = npx('run', '--suite', 'first-power', 'cart.yaml');
    expect(status).toBe(0);
    expect(out).toMatch(/ hold, 0 fail/);
  });

  test('run: junit, report, summary and VCD are written', () => {
    const file = 'node_modules/jackstand/scenarios/orchard-cart/idle-one-too-high.yaml';
    const { status, out } = npx(
      ...['run', file, '--format', 'junit', '--report', 'report.html', '--summary', 'summary.md', '--trace', 'out.vcd'],
    );
    expect(status).toBe(0);
    expect(out).toMatch(/^<\?xml .*\?>\s*<testsuites/);
    expect(readFileSync(join(home, 'report.html'), 'utf8')).toContain('uPlot');
    expect(readFileSync(join(home, 'summary.md'), 'utf8')).toContain('idle compare one too high');
    expect(readFileSync(join(home, 'out.vcd'), 'utf8')).toContain('$enddefinitions $end');
  });

  test('what starts threads, draws pictures or runs images finds its files', () => {
    const cart = 'node_modules/jackstand/scenarios/orchard-cart';
    const spread = npx('spread', `${cart}/cold-start.yaml`, '--draws', '20', '--workers', '2');
    expect(spread.err).not.toContain('fault of the tool');
    expect([0, 1]).toContain(spread.status);
    const charts = npx('charts', `${cart}/bench.yaml`, '--part', 'left', '--format', 'svg');
    expect({ status: charts.status, err: charts.err, isPicture: charts.out.includes('<svg ') }).toEqual({
      status: 0,
      err: '',
      isPicture: true,
    });
    expect(npx('run', `${cart}/firmware-cold-start.yaml`)).toMatchObject({ status: 0 });
    expect(npx('run', `${cart}/module-script-cold-start.yaml`)).toMatchObject({ status: 0 });
  });

  test('the library and the matchers, with their types', () => {
    const modules = join(home, 'node_modules');
    // The tests of whoever uses it bring vitest and the declarations of Node along.
    symlinkSync(join(root, 'node_modules', 'vitest'), join(modules, 'vitest'));
    mkdirSync(join(modules, '@types'), { recursive: true });
    symlinkSync(join(root, 'node_modules', '@types', 'node'), join(modules, '@types', 'node'));
    const folder = 'node_modules/jackstand/scenarios/orchard-cart';
    writeFileSync(
      join(home, 'library.ts'),
      `import { loadScenario, printProblems, runScenario } from 'jackstand';
const { value, problems } = loadScenario('${folder}/cold-start.yaml');
if (value === undefined) throw new Error(printProblems(problems));
const margin: number = runScenario(value).expectations[0]!.margin;
console.log(margin.toFixed(6));
// @ts-expect-error: a run is of a scenario, not of a file.
export const wrong = (): unknown => runScenario('cold-start.yaml');
`,
    );
    writeFileSync(
      join(home, 'firmware.test.ts'),
      `import { expect, test } from 'vitest';
import { runFile } from 'jackstand/vitest';
test('it arms', () => {
  const run = runFile('${folder}/cold-start.yaml');
  expect(run).toArm('left', { within: '2 s' });
  expect(run).toHold();
  expect(() => expect(run).toArm('left', { within: '1 ms' })).toThrow('left');
  // @ts-expect-error: a time is a text with its unit.
  expect(() => expect(run).toArm('left', { within: 2 })).toThrow();
});
`,
    );
    writeFileSync(
      join(home, 'tsconfig.json'),
      JSON.stringify({
        compilerOptions: {
          strict: true,
          module: 'NodeNext',
          target: 'ES2022',
          lib: ['ES2023', 'DOM'],
          types: ['node'],
          skipLibCheck: true,
          noEmit: true,
        },
        files: ['library.ts', 'firmware.test.ts'],
      }),
    );
    const bin = join(root, 'node_modules', '.bin');
    const types = runIn(home, join(bin, 'tsc'), ['-p', '.']);
    expect({ status: types.status, out: types.out }).toEqual({ status: 0, out: '' });
    const ran = runIn(home, join(bin, 'tsx'), ['library.ts']);
    expect({ out: ran.out, err: ran.err }).toEqual({ out: '0.000016\n', err: '' });
    const tested = runIn(home, join(bin, 'vitest'), ['run', '--root', home]);
    expect(tested.out, tested.err).toMatch(/Tests {2}1 passed/);
  });

  test('the example of firmware regression tests, as it was shipped', () => {
    cpSync(join(home, 'node_modules/jackstand/scenarios'), join(home, 'shipped'), { recursive: true });
    const tested = runIn(home, join(root, 'node_modules', '.bin', 'vitest'), ['run', '--root', join(home, 'shipped')]);
    expect(tested.out, tested.err).toMatch(/Tests {2}6 passed/);
  });

  test('the example workflow: its commands, in their order, in a project that has the package', () => {
    const project = mkdtempSync(join(tmpdir(), 'jackstand-project-'));
    const shipped = join(home, 'node_modules', 'jackstand', 'scenarios');
    for (const file of ['bench.yaml', 'cold-start.yaml', 'idle-one-too-high.yaml'])
      cpSync(join(shipped, 'orchard-cart', file), join(project, 'scenarios', file), { recursive: true });
    const devDependencies = { jackstand: `file:${join(home, packed.filename)}` };
    writeFileSync(join(project, 'package.json'), JSON.stringify({ private: true, devDependencies }));
    const lock = runIn(project, 'npm', ['install', '--package-lock-only', '--prefer-offline', '--no-audit']);
    expect(lock).toMatchObject({ status: 0 });

    const { jobs } = parse(readFileSync(join(shipped, 'examples/ci/workflow.yml'), 'utf8')) as {
      jobs: Record<string, { steps: { run?: string; with?: { path?: string } }[] }>;
    };
    const { steps } = jobs.verdicts!;
    const commands = steps.flatMap(({ run }) => (run === undefined ? [] : [run]));
    expect(commands).toHaveLength(4);
    writeFileSync(join(project, 'summary.md'), '');
    for (const command of commands) {
      // As the runner calls it: bash -e on a file with the command.
      writeFileSync(join(project, '.step.sh'), `export GITHUB_STEP_SUMMARY=summary.md CI=true\n${command}\n`);
      const { status, out, err } = runIn(project, 'bash', ['-e', '.step.sh']);
      expect({ command, status, told: status === 0 ? '' : out + err }).toEqual({ command, status: 0, told: '' });
    }
    const files = steps
      .find((step) => step.with?.path !== undefined)!
      .with!.path!.trim()
      .split('\n');
    for (const file of files) expect(readFileSync(join(project, file), 'utf8').length).toBeGreaterThan(300);
    expect(readFileSync(join(project, 'summary.md'), 'utf8')).toContain('cold start, foot off the pedal');
    expect(readFileSync(join(project, 'verdicts.xml'), 'utf8')).toContain('<testsuites');

    // A failure ends the step with status 1 and is told beside its line.
    const scenario = join(project, 'scenarios', 'cold-start.yaml');
    writeFileSync(
      scenario,
      readFileSync(scenario, 'utf8').replace('left.mode is armed, within: 2 s', 'left.mode is armed, within: 1 s'),
    );
    const failed = runIn(project, 'bash', [
      '-ec',
      commands.find((command) => command.includes('github'))!.replace('"$GITHUB_STEP_SUMMARY"', 'summary.md'),
    ]);
    expect(failed.status).toBe(1);
    expect(failed.out).toMatch(/^::error file=scenarios\/cold-start\.yaml,line=11/m);
  });
});
