/**
 * Builds `dist`: the command line and the library as ES modules, with all they need inside.
 *
 * Bundled, because a cold start spends most of its time on finding and reading modules: with `zod`, `xstate`, `yaml` and
 * `commander` left outside it takes about 60 ms more of 180 (test/speed/cold-start.bench.ts measures it). Split, so
 * that what only some commands use is read by those alone.
 */
import { cpSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';
import { build, type Plugin } from 'esbuild';
import { assetSources } from './sim/report/assets.ts';

/** Only English messages of the validator are ever shown; its forty other languages are a third of the bundle. */
const englishOnly: Plugin = {
  name: 'english-only',
  setup: ({ onLoad }) => {
    onLoad({ filter: /[\\/]zod[\\/]v4[\\/]locales[\\/]index\.js$/ }, ({ path }) => ({
      contents: `export { default as en } from './en.js';`,
      resolveDir: dirname(path),
    }));
  },
};

/**
 * Modules of Node that a package asks for at its start and never uses here: one to seed generators by chance, the other to
 * start commands that are programs of their own. Loading them takes longer than reading a bench.
 */
const withoutUnused: Plugin = {
  name: 'without-unused',
  setup: ({ onResolve, onLoad }) => {
    onResolve({ filter: /^(node:)?(crypto|child_process)$/ }, ({ path, importer }) =>
      /[\\/]node_modules[\\/](seedrandom|commander)[\\/]/.test(importer)
        ? { path, namespace: 'unused', sideEffects: false }
        : undefined,
    );
    onLoad({ filter: /.*/, namespace: 'unused' }, () => ({ contents: 'module.exports = {};' }));
  },
};

/**
 * Our files take the validator's names one by one through its namespace, which the bundler can only prune when it is a
 * star import; the package's own entry hands the namespace out as an object, of which nothing can be left away.
 */
const prunedValidator: Plugin = {
  name: 'pruned-validator',
  setup: ({ onLoad }) => {
    onLoad({ filter: /[\\/](sim|models)[\\/].*\.tsx?$/ }, ({ path }) => ({
      contents: readFileSync(path, 'utf8').replace("import { z } from 'zod';", "import * as z from 'zod';"),
      loader: path.endsWith('x') ? 'tsx' : 'ts',
    }));
  },
};

/** A parser that few ever need: it lies in a file of its own beside the bundle and is loaded when the first script is read. */
const parserApart: Plugin = {
  name: 'parser-apart',
  setup: ({ onLoad }) => {
    onLoad({ filter: /[\\/]models[\\/]board[\\/]module[\\/]script[\\/]parse\.ts$/ }, ({ path }) => ({
      contents: readFileSync(path, 'utf8').replace("('@babel/parser')", "('./parser.cjs')"),
      loader: 'ts',
    }));
  },
};

const yamlFolder = dirname(createRequire(import.meta.url).resolve('yaml/package.json'));

rmSync('dist', { recursive: true, force: true });
const { metafile } = await build({
  // Threads of campaigns start in a file of their own, beside whatever chunk starts them.
  entryPoints: {
    cli: 'sim/cli/main.ts',
    index: 'sim/index.ts',
    vitest: 'sim/vitest.ts',
    worker: 'sim/campaign/many/worker.ts',
  },
  outdir: 'dist',
  bundle: true,
  splitting: true,
  format: 'esm',
  platform: 'node',
  target: 'node20',
  minifySyntax: true,
  minifyWhitespace: true,
  // Names stay: a stack trace that somebody reports must be of use.
  minifyIdentifiers: false,
  legalComments: 'none',
  plugins: [englishOnly, withoutUnused, parserApart, prunedValidator],
  // Its Node entry is CommonJS, which cannot be pruned; the other entry is the same code as modules.
  alias: { yaml: join(yamlFolder, 'browser', 'dist', 'index.js') },
  // Asked for by Ink only when it is being debugged.
  // The layout of pictures is larger than all of the rest, and has a licence of its own.
  // The pool finds its own thread file beside itself, which a bundle would take away.
  external: ['react-devtools-core', 'tinypool', 'elkjs', 'vitest'],
  // CommonJS packages among the bundled ones ask for Node's own modules by `require`.
  banner: {
    js: "import { createRequire as requireFrom } from 'node:module'; const require = requireFrom(import.meta.url);",
  },
  define: { 'process.env.NODE_ENV': '"production"' },
  metafile: true,
});
const parser = await build({
  entryPoints: { parser: '@babel/parser' },
  outdir: 'dist',
  outExtension: { '.js': '.cjs' },
  bundle: true,
  format: 'cjs',
  platform: 'node',
  target: 'node20',
  minify: true,
  legalComments: 'none',
  metafile: true,
});
// What pages carry inside themselves is read when one is written.
for (const [name, source] of Object.entries(assetSources())) cpSync(source, join('dist', 'assets', name));
const outputs = [metafile, parser.metafile].flatMap(({ outputs }) => Object.values(outputs));
writeFileSync(
  'dist/LICENSES.txt',
  licencesOf([
    ...Object.keys(metafile.inputs),
    ...Object.keys(parser.metafile.inputs),
    ...Object.values(assetSources()),
  ]),
);
const kilobytes = Math.round(outputs.reduce((sum, { bytes }) => sum + bytes, 0) / 1024);
process.stdout.write(`dist: ${outputs.length} files, ${kilobytes} KiB\n`);

/** The licences of the packages inside the bundle, which they ask to be passed on with their code. */
function licencesOf(inputs: readonly string[]): string {
  const folders = new Set(
    inputs.flatMap((input) => /^.*node_modules\/(?:@[^/]+\/)?[^/]+/.exec(input.replaceAll('\\', '/'))?.[0] ?? []),
  );
  const texts = [...folders].sort().map((folder) => {
    const { name, version, license } = JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8'));
    const file = readdirSync(folder).find((entry) => /^licen[cs]e/i.test(entry));
    const text = file === undefined ? `Licence: ${license}` : readFileSync(join(folder, file), 'utf8').trim();
    return `${name} ${version}\n\n${text}\n`;
  });
  return texts.join(`\n${'-'.repeat(80)}\n\n`);
}
