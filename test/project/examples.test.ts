/** The workflow that is shipped as an example, read by the parser of those who run such workflows. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { convertWorkflowTemplate, NoOperationTraceWriter, parseWorkflow } from '@actions/workflow-parser';
import { describe, expect, test } from 'vitest';
import { root } from './sources.ts';

const name = 'scenarios/examples/ci/workflow.yml';
const text = readFileSync(join(root, name), 'utf8');

/** What the parser finds wrong. */
async function mistakesIn(content: string): Promise<string[]> {
  const parsed = parseWorkflow({ name, content }, new NoOperationTraceWriter());
  const template = parsed.value === undefined ? undefined : await convertWorkflowTemplate(parsed.context, parsed.value);
  return [
    ...parsed.context.errors.getErrors().map(({ message }) => message),
    ...(template?.errors ?? []).map(({ Message }) => Message),
  ];
}

describe('examples: workflow', () => {
  test('is valid', async () => expect(await mistakesIn(text)).toEqual([]));

  test.each([
    ['runs-on: ubuntu-latest', 'runs-off: ubuntu-latest'],
    ['  push:\n', '  shove:\n'],
    ['if: always()', 'if: always('],
    ['timeout-minutes: 10', 'timeout-minutes: ten'],
  ])('the parser sees a mistake: %j as %j', async (good, bad) => {
    expect(text).toContain(good);
    expect(await mistakesIn(text.replace(good, bad))).not.toEqual([]);
  });
});
