/** Which names a script may use where, and the mistakes that are met while it is gone through. */
import type { ModuleMistake } from '../program.ts';
import type { Tree } from './parse.ts';

export type NameKind = 'variable' | 'constant' | 'function';

export interface Scopes {
  readonly mistakes: readonly ModuleMistake[];
  /** Notes a mistake at a node. */
  mistake(node: Tree, says: string): void;
  /** Names of a block, from here to `leave`. */
  enter(): void;
  leave(): void;
  declare(node: Tree, name: string, kind: NameKind): void;
  kindOf(name: string): NameKind | undefined;
  names(): string[];
}

/** More would be no help to anybody. */
const MISTAKES_MOST = 20;

export function createScopes(): Scopes {
  const mistakes: ModuleMistake[] = [];
  const open: Map<string, NameKind>[] = [new Map()];
  const scopes: Scopes = {
    mistakes,
    mistake: ({ loc }, says) => {
      if (mistakes.length < MISTAKES_MOST) mistakes.push({ at: `${loc.start.line}:${loc.start.column + 1}`, says });
    },
    enter: () => {
      open.push(new Map());
    },
    leave: () => {
      open.pop();
    },
    declare: (node, name, kind) => {
      if (open.at(-1)!.has(name)) scopes.mistake(node, `\`${name}\` is there twice`);
      open.at(-1)!.set(name, kind);
    },
    kindOf: (name) => open.findLast((block) => block.has(name))?.get(name),
    names: () => open.flatMap((block) => [...block.keys()]),
  };
  return scopes;
}

export const child = (node: Tree, key: string): Tree => node[key] as Tree;
export const maybe = (node: Tree, key: string): Tree | undefined => (node[key] as Tree | null | undefined) ?? undefined;
export const list = (node: Tree, key: string): readonly Tree[] => (node[key] as readonly Tree[] | undefined) ?? [];
export const text = (node: Tree, key: string): string => node[key] as string;
export const lineOf = (node: Tree): number => node.loc.start.line;

/** What stands inside an assertion of a type, which says nothing at run time. */
export function bare(node: Tree): Tree {
  return /^(TSAsExpression|TSSatisfiesExpression|TSNonNullExpression|TSTypeAssertion|ParenthesizedExpression)$/.test(
    node.type,
  )
    ? bare(child(node, 'expression'))
    : node;
}
