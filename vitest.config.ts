import { readFileSync } from 'node:fs';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { type Plugin as BundlePlugin, build } from 'esbuild';
import { defineConfig, type Plugin } from 'vitest/config';

const root = fileURLToPath(new URL('.', import.meta.url));

/** Each file of ours knows where it lies; `sim` and `models` lie in `dist`, with their threads beside them, as in the build. */
const placed: BundlePlugin = {
  name: 'placed',
  setup: ({ onLoad }) => {
    onLoad({ filter: /[\\/](sim|models|test)[\\/].*\.tsx?$/ }, ({ path }) => {
      const place = /[\\/]test[\\/]/.test(path) ? path : `${root}dist/index.js`;
      return {
        contents: readFileSync(path, 'utf8').replaceAll('import.meta.url', JSON.stringify(pathToFileURL(place).href)),
        loader: path.endsWith('x') ? 'tsx' : 'ts',
      };
    });
  },
};

/**
 * Benchmarks measure what users run: one piece of code. Between modules loaded one by one every name is looked up anew at
 * each use, which costs a fifth of a bench's speed and three quarters of a compiled image's. The kernel beside the loop by
 * hand is left module by module, as its mark was set so (test/speed/kernel.bench.ts).
 */
const bundledBenchmarks: Plugin = {
  name: 'bundled-benchmarks',
  enforce: 'pre',
  async load(id) {
    if (!id.endsWith('.bench.ts') || id.endsWith('kernel.bench.ts')) return undefined;
    const { outputFiles } = await build({
      entryPoints: [id],
      bundle: true,
      write: false,
      format: 'esm',
      platform: 'node',
      target: 'node20',
      packages: 'external',
      plugins: [placed],
    });
    return outputFiles[0]?.text;
  },
};

export default defineConfig({
  plugins: [bundledBenchmarks],
  test: {
    // The shipped examples are run as they stand; they ask for the package by its name.
    include: ['test/**/*.test.{ts,tsx}', 'scenarios/examples/**/*.test.ts'],
    alias: { 'jackstand/vitest': new URL('./sim/vitest.ts', import.meta.url).pathname },
    // Reads JSON in a way that only a bundler understands.
    server: { deps: { inline: [/@actions\/workflow-parser/] } },
    benchmark: { include: ['test/speed/**/*.bench.ts'] },
    testTimeout: 30_000,
  },
});
