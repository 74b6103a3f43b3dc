import { defineConfig } from 'vitest/config';

export default defineConfig({
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
