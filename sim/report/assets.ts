/** Files that a page carries inside itself: read where they lie, beside the built program or in the source tree. */
import { existsSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

/** Where each lies in the source tree; the build copies them all to `assets`, see esbuild.config.ts. */
export function assetSources(): Readonly<Record<string, string>> {
  const plots = join(dirname(createRequire(import.meta.url).resolve('uplot/package.json')), 'dist');
  const page = fileURLToPath(new URL('./page/', import.meta.url));
  return {
    'uPlot.iife.min.js': join(plots, 'uPlot.iife.min.js'),
    'uPlot.min.css': join(plots, 'uPlot.min.css'),
    'page.js': join(page, 'page.js'),
    'page.css': join(page, 'page.css'),
  };
}

export function assetText(name: string): string {
  const built = new URL(`./assets/${name}`, import.meta.url);
  return readFileSync(existsSync(built) ? built : assetSources()[name]!, 'utf8');
}
