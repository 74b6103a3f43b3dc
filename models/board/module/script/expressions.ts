/**
 * JavaScript for the expressions of a script: the same operations, each through a check where it could reach for what is
 * not the script's own. Only what is listed here passes; all else is a mistake at its place.
 */
import { suggestion } from './names.ts';
import type { Tree } from './parse.ts';
import { BOARD_FUNCTIONS, OTHER_METHODS } from './run-time.ts';
import { bare, child, lineOf, list, maybe, type Scopes, text } from './scope.ts';

const ARITHMETIC = ['-', '*', '/', '%', '**', '&', '|', '^', '<<', '>>', '>>>'];
const ORDER = ['<', '>', '<=', '>='];
// biome-ignore format: lists of names
const MATH_FUNCTIONS = [
  'abs', 'acos', 'asin', 'atan', 'atan2', 'cbrt', 'ceil', 'clz32', 'cos', 'exp', 'floor', 'fround', 'hypot', 'imul', 'log',
  'log10', 'log2', 'max', 'min', 'pow', 'round', 'sign', 'sin', 'sqrt', 'tan', 'trunc',
];
const MATH_NUMBERS = ['E', 'LN10', 'LN2', 'LOG10E', 'LOG2E', 'PI', 'SQRT1_2', 'SQRT2'];
const NUMBER_TESTS = ['isFinite', 'isInteger', 'isNaN', 'isSafeInteger'];
const NUMBER_NUMBERS = ['EPSILON', 'MAX_SAFE_INTEGER', 'MAX_VALUE', 'MIN_SAFE_INTEGER', 'MIN_VALUE', 'NaN'];
const CONSTANTS = ['undefined', 'NaN', 'Infinity'];
const METHODS: readonly string[] = [...Object.keys(BOARD_FUNCTIONS), ...OTHER_METHODS];

/** Code for an expression; '0' where it is a mistake, which has been noted. */
export function expression(node: Tree, scopes: Scopes): string {
  const make = MAKERS[node.type];
  if (make !== undefined) return make(node, scopes);
  scopes.mistake(node, `${EXPRESSION_WORDS[node.type] ?? `\`${node.type}\``} cannot stand in a module`);
  return '0';
}

type Maker = (node: Tree, scopes: Scopes) => string;

const MAKERS: Readonly<Record<string, Maker>> = {
  NumericLiteral: (node) => `(${String(node.value)})`,
  StringLiteral: (node) => JSON.stringify(node.value),
  BooleanLiteral: (node) => String(node.value),
  NullLiteral: () => 'null',
  TemplateLiteral: template,
  Identifier: identifier,
  UnaryExpression: unary,
  UpdateExpression: update,
  BinaryExpression: (node, scopes) =>
    binary(
      node,
      text(node, 'operator'),
      expression(child(node, 'left'), scopes),
      child(node, 'left'),
      child(node, 'right'),
      scopes,
    ),
  LogicalExpression: (node, scopes) =>
    `(${expression(child(node, 'left'), scopes)} ${text(node, 'operator')} ${expression(child(node, 'right'), scopes)})`,
  ConditionalExpression: (node, scopes) =>
    `(${expression(child(node, 'test'), scopes)} ? ${expression(child(node, 'consequent'), scopes)} : ${expression(child(node, 'alternate'), scopes)})`,
  SequenceExpression: (node, scopes) =>
    `(${list(node, 'expressions')
      .map((one) => expression(one, scopes))
      .join(', ')})`,
  AssignmentExpression: assignment,
  MemberExpression: member,
  CallExpression: call,
  ArrayExpression: listOfMembers,
  ObjectExpression: object,
  TSAsExpression: inside,
  TSSatisfiesExpression: inside,
  TSNonNullExpression: inside,
  TSTypeAssertion: inside,
};

const EXPRESSION_WORDS: Readonly<Record<string, string>> = {
  ArrowFunctionExpression: 'a function inside an expression',
  FunctionExpression: 'a function inside an expression',
  ClassExpression: 'a class',
  NewExpression: '`new`',
  ThisExpression: '`this`',
  RegExpLiteral: 'a regular expression',
  BigIntLiteral: 'a big integer',
  AwaitExpression: '`await`',
  OptionalMemberExpression: '`?.`',
  OptionalCallExpression: '`?.`',
  TaggedTemplateExpression: 'a tagged template',
  Import: '`import()`',
  MetaProperty: '`import.meta`',
};

function inside(node: Tree, scopes: Scopes): string {
  return expression(child(node, 'expression'), scopes);
}

/** An operand that must be a number; the check is left out where it is one by its form. */
function numeric(node: Tree, code: string): string {
  return isNumber(node) ? code : `$.number(${code}, ${lineOf(node)})`;
}

function isNumber(outer: Tree): boolean {
  const node = bare(outer);
  if (node.type === 'NumericLiteral') return true;
  if (node.type === 'UnaryExpression') return ['-', '+', '~'].includes(text(node, 'operator'));
  if (node.type === 'BinaryExpression') return ARITHMETIC.includes(text(node, 'operator'));
  return false;
}

function identifier(node: Tree, scopes: Scopes): string {
  const name = text(node, 'name');
  const kind = scopes.kindOf(name);
  if (kind === 'variable' || kind === 'constant') return `v_${name}`;
  if (kind === 'function') scopes.mistake(node, `\`${name}\` is a function: it can be called, but it is no value`);
  else if (CONSTANTS.includes(name)) return name === 'undefined' ? '(void 0)' : name;
  else scopes.mistake(node, `there is no \`${name}\`${suggestion(name, scopes.names())}`);
  return '0';
}

function template(node: Tree, scopes: Scopes): string {
  const texts = list(node, 'quasis').map((one) => JSON.stringify((one.value as { cooked?: string }).cooked ?? ''));
  const values = list(node, 'expressions').map((one) => expression(one, scopes));
  const parts = texts.flatMap((one, index) => (values[index] === undefined ? [one] : [one, values[index]]));
  return `$.text(${[lineOf(node), ...parts].join(', ')})`;
}

function unary(node: Tree, scopes: Scopes): string {
  const operator = text(node, 'operator');
  const argument = child(node, 'argument');
  const code = expression(argument, scopes);
  if (operator === '!') return `(!${code})`;
  if (operator === 'typeof') return `(typeof ${code})`;
  if (operator === '-' || operator === '+' || operator === '~') return `(${operator} ${numeric(argument, code)})`;
  scopes.mistake(node, `\`${operator}\` cannot stand in a module`);
  return '0';
}

function binary(node: Tree, operator: string, left: string, leftNode: Tree, rightNode: Tree, scopes: Scopes): string {
  const right = expression(rightNode, scopes);
  if (operator === '===' || operator === '!==') return `(${left} ${operator} ${right})`;
  if (operator === '+')
    return isNumber(leftNode) && isNumber(rightNode)
      ? `(${left} + ${right})`
      : `$.add(${left}, ${right}, ${lineOf(node)})`;
  if (ARITHMETIC.includes(operator) || ORDER.includes(operator))
    return `(${numeric(leftNode, left)} ${operator} ${numeric(rightNode, right)})`;
  scopes.mistake(
    node,
    operator === '==' || operator === '!='
      ? `\`${operator}\` cannot stand in a module; \`${operator}=\` can`
      : `\`${operator}\` cannot stand in a module`,
  );
  return '0';
}

/** The variable that is written to, or undefined where it may not be. */
function written(target: Tree, scopes: Scopes): string | undefined {
  const name = text(target, 'name');
  const kind = scopes.kindOf(name);
  if (kind === 'variable') return `v_${name}`;
  scopes.mistake(
    target,
    kind === undefined
      ? `there is no \`${name}\`${suggestion(name, scopes.names())}`
      : `\`${name}\` is a ${kind} and cannot be changed`,
  );
  return undefined;
}

function update(node: Tree, scopes: Scopes): string {
  const target = bare(child(node, 'argument'));
  const operator = text(node, 'operator');
  const line = lineOf(node);
  if (target.type === 'MemberExpression')
    return `$.change(${reference(target, scopes)}, ($o) => $.number($o, ${line}) ${operator[0]} 1, ${node.prefix === false}, ${line})`;
  if (target.type !== 'Identifier') return notWritable(target, scopes);
  const name = written(target, scopes);
  if (name === undefined) return '0';
  return `($.number(${name}, ${line}), ${node.prefix === true ? `${operator}${name}` : `${name}${operator}`})`;
}

function assignment(node: Tree, scopes: Scopes): string {
  const operator = text(node, 'operator');
  const target = bare(child(node, 'left'));
  const value = child(node, 'right');
  const line = lineOf(node);
  const isPlain = operator === '=';
  if (['&&=', '||=', '??='].includes(operator)) {
    scopes.mistake(node, `\`${operator}\` cannot stand in a module`);
    return '0';
  }
  const combined = (before: string): string => binary(node, operator.slice(0, -1), before, target, value, scopes);
  if (target.type === 'MemberExpression') {
    const place = reference(target, scopes);
    return isPlain
      ? `$.put(${place}, ${expression(value, scopes)}, ${line})`
      : `$.change(${place}, ($o) => ${combined('$o')}, false, ${line})`;
  }
  if (target.type !== 'Identifier') return notWritable(target, scopes);
  const name = written(target, scopes);
  if (name === undefined) return '0';
  return `(${name} = ${isPlain ? expression(value, scopes) : combined(name)})`;
}

function notWritable(target: Tree, scopes: Scopes): string {
  scopes.mistake(target, 'values can be given to a variable or a member only, one at a time');
  return '0';
}

/** Object and key of a member, as two arguments. */
function reference(node: Tree, scopes: Scopes): string {
  const of = expression(child(node, 'object'), scopes);
  return `${of}, ${node.computed === true ? expression(child(node, 'property'), scopes) : JSON.stringify(nameOf(node, scopes))}`;
}

function nameOf(node: Tree, scopes: Scopes): string {
  const property = child(node, 'property');
  if (property.type !== 'Identifier') scopes.mistake(property, 'a private member cannot stand in a module');
  return String(property.name);
}

/** The name of an object that the language itself has, where it is not hidden by one of the script's own. */
function builtIn(node: Tree, scopes: Scopes): string | undefined {
  if (node.type !== 'Identifier') return undefined;
  const name = text(node, 'name');
  return (name === 'Math' || name === 'Number' || name === 'String') && scopes.kindOf(name) === undefined
    ? name
    : undefined;
}

function member(node: Tree, scopes: Scopes): string {
  const of = builtIn(bare(child(node, 'object')), scopes);
  if (of === undefined) return `$.get(${reference(node, scopes)}, ${lineOf(node)})`;
  const name = node.computed === true ? '' : nameOf(node, scopes);
  const known = of === 'Math' ? MATH_NUMBERS : NUMBER_NUMBERS;
  if (of !== 'String' && known.includes(name)) return `${of}.${name}`;
  scopes.mistake(node, `\`${of}.${name}\` cannot stand in a module${suggestion(name, known)}`);
  return '0';
}

function call(node: Tree, scopes: Scopes): string {
  const callee = bare(child(node, 'callee'));
  const line = lineOf(node);
  const given = list(node, 'arguments').map((one) => expression(one, scopes));
  if (callee.type === 'Identifier') {
    const name = text(callee, 'name');
    if (scopes.kindOf(name) === 'function') return `$.leave(f_${name}(${given.join(', ')}))`;
    if (scopes.kindOf(name) === undefined && name === 'String')
      return `$.text(${[line, ...given.slice(0, 1)].join(', ')})`;
    scopes.mistake(callee, `there is no function \`${name}\`${suggestion(name, scopes.names())}`);
    return '0';
  }
  if (callee.type !== 'MemberExpression' || callee.computed === true) {
    scopes.mistake(node, 'only functions with a name can be called');
    return '0';
  }
  const name = nameOf(callee, scopes);
  const of = builtIn(bare(child(callee, 'object')), scopes);
  if (of === undefined) {
    if (!METHODS.includes(name)) scopes.mistake(callee, `there is no function \`${name}\`${suggestion(name, METHODS)}`);
    return `$.call(${expression(child(callee, 'object'), scopes)}, ${JSON.stringify(name)}, [${given.join(', ')}], ${line})`;
  }
  const known = of === 'Math' ? MATH_FUNCTIONS : of === 'Number' ? NUMBER_TESTS : [];
  if (!known.includes(name)) {
    scopes.mistake(
      callee,
      `\`${of}.${name}\` cannot be called in a module${name === 'random' ? ': nothing may hang on chance' : suggestion(name, known)}`,
    );
    return '0';
  }
  return `${of}.${name}(${given.map((one) => `$.number(${one}, ${line})`).join(', ')})`;
}

function listOfMembers(node: Tree, scopes: Scopes): string {
  const members = (node.elements as readonly (Tree | null)[]).map((one) => {
    if (one !== null) return expression(one, scopes);
    scopes.mistake(node, 'a list with gaps cannot stand in a module');
    return '0';
  });
  return `$.list([${members.join(', ')}], ${lineOf(node)})`;
}

function object(node: Tree, scopes: Scopes): string {
  const members = list(node, 'properties').map((one) => {
    if (one.type !== 'ObjectProperty' || one.computed === true) {
      scopes.mistake(one, 'an object may hold names with values only');
      return '';
    }
    const key = child(one, 'key');
    const name = key.type === 'Identifier' ? text(key, 'name') : String(key.value);
    if (name === '__proto__') scopes.mistake(key, '`__proto__` is no name of a member');
    return `, ${JSON.stringify(name)}: ${expression(child(one, 'value'), scopes)}`;
  });
  return `$.object({ __proto__: null${members.join('')} }, ${lineOf(node)})`;
}

/** A value that may be left out. */
export function optionalValue(node: Tree, key: string, scopes: Scopes): string {
  const value = maybe(node, key);
  return value === undefined ? '(void 0)' : expression(value, scopes);
}
