/** The project's own source files, read with the compiler's parser, for the tests that hold its rules. */
import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, relative } from 'node:path';
import { fileURLToPath } from 'node:url';
import ts from 'typescript';

export const root = fileURLToPath(new URL('../..', import.meta.url)).replace(/[\\/]$/, '');

/** Every TypeScript file below a folder of the project, as a path from its root. */
export function filesBelow(folder: string): string[] {
  return readdirSync(join(root, folder), { recursive: true, encoding: 'utf8' })
    .filter((file) => /\.tsx?$/.test(file) && !file.includes('node_modules'))
    .map((file) => join(folder, file).replaceAll('\\', '/'))
    .sort();
}

export function parse(file: string, text: string = readFileSync(join(root, file), 'utf8')): ts.SourceFile {
  return ts.createSourceFile(
    file,
    text,
    ts.ScriptTarget.ES2022,
    true,
    file.endsWith('x') ? ts.ScriptKind.TSX : undefined,
  );
}

/** Every node of a file, parents first. */
export function* nodesOf(node: ts.Node): Generator<ts.Node> {
  yield node;
  // The children are gathered first, as `forEachChild` takes no generator.
  const children: ts.Node[] = [];
  ts.forEachChild(node, (child) => {
    children.push(child);
  });
  for (const child of children) yield* nodesOf(child);
}

export interface Import {
  readonly specifier: string;
  /** For a file of the project: its path from the root. */
  readonly target: string | undefined;
  readonly line: number;
}

/** All that a file imports, exports from elsewhere, or loads later with `import()`. */
export function importsOf(source: ts.SourceFile): Import[] {
  const found: Import[] = [];
  for (const node of nodesOf(source)) {
    const specifier =
      ts.isImportDeclaration(node) || ts.isExportDeclaration(node)
        ? node.moduleSpecifier
        : ts.isCallExpression(node) && node.expression.kind === ts.SyntaxKind.ImportKeyword
          ? node.arguments[0]
          : undefined;
    if (specifier === undefined || !ts.isStringLiteralLike(specifier)) continue;
    const { text } = specifier;
    const target = text.startsWith('.')
      ? relative(root, join(root, dirname(source.fileName), text)).replaceAll('\\', '/')
      : undefined;
    found.push({ specifier: text, target, line: lineOf(source, node) });
  }
  return found;
}

export function lineOf(source: ts.SourceFile, node: ts.Node): number {
  return source.getLineAndCharacterOfPosition(node.getStart(source)).line + 1;
}

/** `file:line: text` for each finding, so that a failure can be clicked. */
export function placed(source: ts.SourceFile, node: ts.Node, text: string): string {
  return `${source.fileName}:${lineOf(source, node)}: ${text}`;
}
