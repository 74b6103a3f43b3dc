/**
 * JavaScript for the statements of a script: types are left away, loops and functions count their steps, and all that is
 * declared at the top can be read and put back.
 */
import type { ModuleMistake } from '../program.ts';
import { expression, optionalValue } from './expressions.ts';
import type { Tree } from './parse.ts';
import { bare, child, createScopes, lineOf, list, maybe, type NameKind, type Scopes, text } from './scope.ts';

/** A function of the script, with the lines from its first to its last. */
export interface ScriptFunction {
  readonly name: string;
  readonly firstLine: number;
  readonly lastLine: number;
}

export interface Made {
  /** The body of a function of `$` (a `RunTime`) that gives `{ keep, put, setUp, init, pass }`. */
  readonly code: string;
  readonly variableCount: number;
  readonly functions: readonly ScriptFunction[];
  readonly mistakes: readonly ModuleMistake[];
}

/** Statements that say something about types only. */
const TYPES_ONLY = ['TSInterfaceDeclaration', 'TSTypeAliasDeclaration', 'TSDeclareFunction', 'EmptyStatement'];

const STATEMENT_WORDS: Readonly<Record<string, string>> = {
  ClassDeclaration: 'a class',
  TSEnumDeclaration: 'an enum (constants can)',
  TSModuleDeclaration: 'a namespace',
  TryStatement: '`try`',
  LabeledStatement: 'a label',
  ForInStatement: '`for ... in`',
  WithStatement: '`with`',
  DebuggerStatement: '`debugger`',
  ExportDefaultDeclaration: '`export default`',
  ExportAllDeclaration: '`export *`',
};

export function statements(body: readonly Tree[]): Made {
  const scopes = createScopes();
  const top = body.flatMap((node) => unwrapped(node, scopes));
  const functions = top.filter(({ type }) => type === 'FunctionDeclaration');
  const exported = exportsOf(body, scopes);
  // Functions can be called before they are declared, and variables used in functions above them.
  for (const node of functions) scopes.declare(child(node, 'id'), text(child(node, 'id'), 'name'), 'function');
  const variables: string[] = [];
  for (const node of top)
    if (node.type === 'VariableDeclaration')
      for (const { name, at, kind } of declared(node, scopes)) {
        scopes.declare(at, name, kind);
        variables.push(`v_${name}`);
      }
  const setUp = top
    .filter(({ type }) => type !== 'FunctionDeclaration')
    .map((node) => (node.type === 'VariableDeclaration' ? assignments(node, scopes) : statement(node, scopes)));
  const functionCodes = functions.map((node) => functionOf(node, scopes));
  for (const name of ['init', 'pass']) {
    const own = exported.get(name);
    if (own !== undefined && scopes.kindOf(own) !== 'function')
      scopes.mistake(body[0]!, `the export \`${name}\` is no function`);
  }
  const mistakes: ModuleMistake[] = [...scopes.mistakes];
  if (!exported.has('pass'))
    mistakes.push({ says: 'it exports no function `pass`, which is called every control pass' });
  const entry = (name: string): string =>
    `() => ${exported.has(name) ? `f_${exported.get(name)}($.board)` : 'undefined'}`;
  return {
    code: [
      "'use strict';",
      variables.length === 0 ? '' : `let ${variables.join(', ')};`,
      ...functionCodes,
      `const setUp = () => { ${setUp.join('\n')} };`,
      `return { keep: () => [${variables.join(', ')}], put: ($v) => { [${variables.join(', ')}] = $v; }, setUp, init: ${entry('init')}, pass: ${entry('pass')} };`,
    ].join('\n'),
    variableCount: variables.length,
    functions: functions.map((node) => ({
      name: text(child(node, 'id'), 'name'),
      firstLine: lineOf(node),
      lastLine: (node.loc as unknown as { end: { line: number } }).end.line,
    })),
    mistakes,
  };
}

/** A statement of the file without what says that it is exported; imports of types are left away. */
function unwrapped(node: Tree, scopes: Scopes): Tree[] {
  if (node.type === 'ExportNamedDeclaration') {
    const declaration = maybe(node, 'declaration');
    if (maybe(node, 'source') !== undefined)
      scopes.mistake(
        node,
        'a module is one file: nothing can be taken from another one; a bundler makes one of several',
      );
    return declaration === undefined ? [] : unwrapped(declaration, scopes);
  }
  if (node.type === 'ImportDeclaration') {
    const isType =
      node.importKind === 'type' ||
      (list(node, 'specifiers').length > 0 &&
        list(node, 'specifiers').every(({ importKind }) => importKind === 'type'));
    if (!isType)
      scopes.mistake(
        node,
        'a module is one file: only types can be imported (`import type`); a bundler makes one of several',
      );
    return [];
  }
  return TYPES_ONLY.includes(node.type) || node.declare === true ? [] : [node];
}

/** The names under which the file exports its own, each with its own name. */
function exportsOf(body: readonly Tree[], scopes: Scopes): Map<string, string> {
  const exported = new Map<string, string>();
  for (const node of body) {
    if (node.type !== 'ExportNamedDeclaration') continue;
    const declaration = maybe(node, 'declaration');
    if (declaration?.type === 'FunctionDeclaration')
      exported.set(text(child(declaration, 'id'), 'name'), text(child(declaration, 'id'), 'name'));
    else if (declaration?.type === 'VariableDeclaration')
      for (const { name, at } of declared(declaration, undefined))
        if (name === 'init' || name === 'pass')
          scopes.mistake(at, `\`${name}\` must be a function: \`export function ${name}(board: Board)\``);
        else exported.set(name, name);
    for (const one of list(node, 'specifiers'))
      if (one.type === 'ExportSpecifier') {
        const outside = child(one, 'exported');
        exported.set(String(outside.name ?? outside.value), text(child(one, 'local'), 'name'));
      }
  }
  return exported;
}

/** Names that a declaration gives. Without `scopes`, its mistakes are told elsewhere. */
function declared(node: Tree, scopes: Scopes | undefined): { name: string; at: Tree; kind: NameKind }[] {
  return list(node, 'declarations').flatMap((one) => {
    const id = child(one, 'id');
    if (id.type === 'Identifier')
      return [
        { name: text(id, 'name'), at: id, kind: node.kind === 'const' ? ('constant' as const) : ('variable' as const) },
      ];
    scopes?.mistake(id, 'a variable must have a name: values cannot be taken apart here');
    return [];
  });
}

/** First values of what is declared at the top, whose names stand before all functions. */
function assignments(node: Tree, scopes: Scopes): string {
  return list(node, 'declarations')
    .map((one) => {
      const id = child(one, 'id');
      return id.type === 'Identifier' ? `v_${text(id, 'name')} = ${optionalValue(one, 'init', scopes)};` : '';
    })
    .join(' ');
}

function functionOf(node: Tree, scopes: Scopes): string {
  const name = text(child(node, 'id'), 'name');
  if (node.async === true || node.generator === true)
    scopes.mistake(node, 'a function that waits cannot stand in a module');
  scopes.enter();
  const parameters = list(node, 'params').flatMap((one) => {
    const id = one.type === 'AssignmentPattern' ? child(one, 'left') : one;
    if (id.type !== 'Identifier') {
      scopes.mistake(one, 'a parameter must have a name: values cannot be taken apart here');
      return [];
    }
    // A parameter of this name only says of what type `this` is.
    if (text(id, 'name') === 'this') return [];
    const code = one.type === 'AssignmentPattern' ? ` = ${expression(child(one, 'right'), scopes)}` : '';
    scopes.declare(id, text(id, 'name'), 'variable');
    return [`v_${text(id, 'name')}${code}`];
  });
  const body = block(list(child(node, 'body'), 'body'), scopes);
  scopes.leave();
  return `function f_${name}(${parameters.join(', ')}) { $.enter(${lineOf(node)}); ${body} }`;
}

/** Statements with the names that they declare among them. */
function block(body: readonly Tree[], scopes: Scopes): string {
  scopes.enter();
  for (const node of body)
    if (node.type === 'VariableDeclaration')
      for (const { name, at, kind } of declared(node, scopes)) scopes.declare(at, name, kind);
  const code = body.map((node) => statement(node, scopes)).join('\n');
  scopes.leave();
  return `{ ${code} }`;
}

function statement(node: Tree, scopes: Scopes): string {
  const make = MAKERS[node.type];
  if (make !== undefined) return make(node, scopes);
  if (TYPES_ONLY.includes(node.type) || node.declare === true) return '';
  const what =
    STATEMENT_WORDS[node.type] ??
    (node.type === 'FunctionDeclaration' ? 'a function inside a function' : `\`${node.type}\``);
  scopes.mistake(node, `${what} cannot stand in a module`);
  return '';
}

type Maker = (node: Tree, scopes: Scopes) => string;

const MAKERS: Readonly<Record<string, Maker>> = {
  ExpressionStatement: (node, scopes) => `${expression(child(node, 'expression'), scopes)};`,
  BlockStatement: (node, scopes) => block(list(node, 'body'), scopes),
  EmptyStatement: () => ';',
  VariableDeclaration: (node, scopes) => `${variables(node, scopes)};`,
  IfStatement: (node, scopes) => {
    const other = maybe(node, 'alternate');
    const otherwise = other === undefined ? '' : ` else ${inner(other, scopes)}`;
    return `if (${expression(child(node, 'test'), scopes)}) ${inner(child(node, 'consequent'), scopes)}${otherwise}`;
  },
  WhileStatement: (node, scopes) => `while (${expression(child(node, 'test'), scopes)}) ${turning(node, scopes)}`,
  DoWhileStatement: (node, scopes) => `do ${turning(node, scopes)} while (${expression(child(node, 'test'), scopes)});`,
  ForStatement: forLoop,
  ForOfStatement: forOf,
  SwitchStatement: switchOf,
  BreakStatement: () => 'break;',
  ContinueStatement: () => 'continue;',
  ReturnStatement: (node, scopes) => `return ${optionalValue(node, 'argument', scopes)};`,
  ThrowStatement: throwOf,
};

/** The statement under a condition. */
function inner(node: Tree, scopes: Scopes): string {
  return block([node], scopes);
}

/** The body of a loop, whose every turn is a step. */
function turning(node: Tree, scopes: Scopes): string {
  return `{ $.turn(${lineOf(node)}); ${inner(child(node, 'body'), scopes)} }`;
}

/** `let` and `const` as they are; `var` where it stands at the top of its function means the same here. */
function variables(node: Tree, scopes: Scopes): string {
  const parts = list(node, 'declarations').flatMap((one) => {
    const id = child(one, 'id');
    return id.type === 'Identifier' ? [`v_${text(id, 'name')} = ${optionalValue(one, 'init', scopes)}`] : [];
  });
  return parts.length === 0 ? '' : `let ${parts.join(', ')}`;
}

function forLoop(node: Tree, scopes: Scopes): string {
  const first = maybe(node, 'init');
  scopes.enter();
  let head = '';
  if (first?.type === 'VariableDeclaration') {
    for (const { name, at, kind } of declared(first, scopes)) scopes.declare(at, name, kind);
    head = variables(first, scopes);
  } else if (first !== undefined) head = expression(first, scopes);
  const test = maybe(node, 'test');
  const next = maybe(node, 'update');
  const code = `for (${head}; ${test === undefined ? '' : expression(test, scopes)}; ${next === undefined ? '' : expression(next, scopes)}) ${turning(node, scopes)}`;
  scopes.leave();
  return code;
}

function forOf(node: Tree, scopes: Scopes): string {
  const left = child(node, 'left');
  const items = `$.items(${expression(child(node, 'right'), scopes)}, ${lineOf(node)})`;
  if (left.type !== 'VariableDeclaration' || node.await === true) {
    scopes.mistake(left, '`for ... of` must declare its variable');
    return '';
  }
  scopes.enter();
  const names = declared(left, scopes);
  for (const { name, at, kind } of names) scopes.declare(at, name, kind);
  const code = `for (let v_${names[0]?.name ?? ''} of ${items}) ${turning(node, scopes)}`;
  scopes.leave();
  return code;
}

function switchOf(node: Tree, scopes: Scopes): string {
  const of = expression(child(node, 'discriminant'), scopes);
  scopes.enter();
  const cases = list(node, 'cases');
  for (const one of cases)
    for (const inside of list(one, 'consequent'))
      if (inside.type === 'VariableDeclaration')
        for (const { name, at, kind } of declared(inside, scopes)) scopes.declare(at, name, kind);
  const code = cases.map((one) => {
    const test = maybe(one, 'test');
    const body = list(one, 'consequent')
      .map((inside) => statement(inside, scopes))
      .join('\n');
    return `${test === undefined ? 'default' : `case ${expression(test, scopes)}`}: ${body}`;
  });
  scopes.leave();
  return `switch (${of}) { ${code.join('\n')} }`;
}

/** `throw new Error('...')` or `throw '...'`: the module stops, and the text is told. */
function throwOf(node: Tree, scopes: Scopes): string {
  const thrown = bare(child(node, 'argument'));
  const isError = thrown.type === 'NewExpression' && child(thrown, 'callee').name === 'Error';
  const says = isError ? list(thrown, 'arguments')[0] : thrown;
  return `$.fail(${says === undefined ? '""' : expression(says, scopes)}, ${lineOf(node)});`;
}
