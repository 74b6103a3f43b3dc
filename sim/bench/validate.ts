/**
 * A schema against a tree: all mistakes at once, each where the user wrote it and in the words of the file.
 */
import type { z } from 'zod';
import { type Problem, sortProblems } from './problem.ts';
import { type Path, plainOf, type TreeNode } from './tree.ts';
import { problemsOf, type RaisedIssue, ticketMark } from './zod-problem.ts';

// A hostile file can be wrong in each of its many thousand values; nobody reads on after this many.
const maxIssues = 1000;

/** What the schema makes of the tree, or why it does not. The tree must come from `readSource` and its like. `at` is the tree's own path. */
export function validate<Schema extends z.ZodType>(
  schema: Schema,
  tree: TreeNode,
  at: Path = [],
): { readonly value: z.output<Schema> } | { readonly problems: readonly Problem[] } {
  // zod hands each issue to the message maker together with the schema that raised it, which the finished issue no longer
  // names; the made message is the ticket under which it is found again.
  const raised = new Map<string, RaisedIssue>();
  const outcome = schema.safeParse(plainOf(tree), {
    error: (issue) => {
      const ticket = `${ticketMark}${raised.size}`;
      raised.set(ticket, issue as RaisedIssue);
      return ticket;
    },
  });
  if (outcome.success) return { value: outcome.data };
  const problems = outcome.error.issues
    .slice(0, maxIssues)
    .flatMap((issue) => problemsOf(issue, [], { tree, at, raised }));
  return { problems: sortProblems(withoutMisspelt(problems)).slice(0, maxIssues) };
}

// A misspelt key is one mistake: that the right one is missing needs no telling.
function withoutMisspelt(problems: readonly Problem[]): Problem[] {
  const meant = new Set<string>();
  for (const { code, facts } of problems) {
    if (code !== 'unknown-key' || facts.nearest === undefined) continue;
    meant.add(facts.path.slice(0, facts.path.length - facts.key.length) + facts.nearest);
  }
  return problems.filter(({ code, facts }) => code !== 'missing-key' || !meant.has(facts.path));
}
