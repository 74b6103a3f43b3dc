import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    include: ['test/**/*.test.{ts,tsx}'],
    benchmark: { include: ['test/speed/**/*.bench.ts'] },
    testTimeout: 30_000,
  },
});
