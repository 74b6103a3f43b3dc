/**
 * Random C programs that mean the same on an 8-bit chip and on the host: every operation is cast to a stated width, all
 * overflow is unsigned, shifts and quotients are guarded. They print a digest of their variables as they go.
 */
import { fork } from '../random-source.ts';

const TYPES = ['uint8_t', 'int8_t', 'uint16_t', 'int16_t', 'uint32_t', 'int32_t'] as const;
type Type = (typeof TYPES)[number];
const BITS: Record<Type, number> = { uint8_t: 8, int8_t: 8, uint16_t: 16, int16_t: 16, uint32_t: 32, int32_t: 32 };

interface Variable {
  readonly name: string;
  readonly type: Type;
}

/** Source text of program number `seed`. */
export function randomProgram(seed: number): string {
  const draw = fork(seed);
  const pick = <T>(list: readonly T[]): T => list[draw(list.length)]!;
  const globals: Variable[] = Array.from({ length: 4 + draw(5) }, (_, index) => ({
    name: `g${index}`,
    type: pick(TYPES),
  }));
  const arrays = Array.from({ length: 1 + draw(3) }, (_, index) => ({
    name: `a${index}`,
    type: pick(TYPES),
    size: 1 << (2 + draw(4)),
  }));
  const functions: { name: string; type: Type; parameters: Variable[] }[] = [];

  const leaf = (scope: readonly Variable[]): string => {
    const kind = draw(8);
    if (kind === 0) return String(draw(3) === 0 ? draw(65536) : draw(20));
    if (kind === 1) {
      const array = pick(arrays);
      return `${array.name}[(uint8_t)(${pick(scope).name}) & ${array.size - 1}]`;
    }
    return pick(scope).name;
  };
  const expression = (scope: readonly Variable[], depth: number): string => {
    if (depth === 0 || draw(6) === 0) return leaf(scope);
    const type = pick(TYPES);
    const left = expression(scope, depth - 1);
    const right = expression(scope, depth - 1);
    const kind = draw(12);
    if (kind <= 5)
      return `((${type})((uint32_t)(${left}) ${pick(['+', '-', '*', '&', '|', '^'])} (uint32_t)(${right})))`;
    if (kind === 6)
      return `((${type})((${type})(${left}) ${pick(['<<', '>>'])} ((${right}) & ${Math.min(BITS[type], 15) - 1})))`.replace(
        '<<',
        type.startsWith('u') ? '<<' : '>>',
      );
    if (kind === 7) {
      const unsigned = `uint${BITS[type]}_t`;
      return `((${type})((${unsigned})(${left}) ${pick(['/', '%'])} (${unsigned})((${unsigned})(${right}) | 1)))`;
    }
    if (kind === 8)
      return `((${type})((${type})(${left}) ${pick(['<', '>', '<=', '>=', '==', '!='])} (${type})(${right})))`;
    if (kind === 9) return `((${type})(${left}) ${pick(['&&', '||'])} (${type})(${right}))`;
    if (kind === 10) return `((${left}) ? (${type})(${right}) : (${type})(${leaf(scope)}))`;
    return `((${type})${pick(['~', '-', '!'])}(uint32_t)(${left}))`;
  };
  const target = (scope: readonly Variable[]): string => {
    if (draw(4) > 0) return pick(scope).name;
    const array = pick(arrays);
    return `${array.name}[(uint8_t)(${leaf(scope)}) & ${array.size - 1}]`;
  };
  const block = (scope: readonly Variable[], depth: number, loops: number): string => {
    const lines: string[] = [];
    for (let count = 1 + draw(4); count > 0; count--) {
      const kind = draw(10);
      if (depth > 0 && kind === 0)
        lines.push(
          `if (${expression(scope, 2)}) {\n${block(scope, depth - 1, loops)}} else {\n${block(scope, depth - 1, loops)}}`,
        );
      else if (depth > 0 && kind === 1 && loops < 2) {
        const index = `i${depth}_${loops}`;
        const step = draw(3);
        const end = 2 + draw(12);
        const counter =
          step === 0
            ? `for (uint8_t ${index} = 0; ${index} < ${end}; ${index}++)`
            : step === 1
              ? `for (uint16_t ${index} = ${end}; ${index}-- > 0;)`
              : `for (int8_t ${index} = -${end}; ${index} < 0; ${index}++)`;
        lines.push(
          `${counter} {\n${block(scope, depth - 1, loops + 1)}${draw(3) === 0 ? `if (${expression(scope, 1)}) ${pick(['break', 'continue'])};\n` : ''}}`,
        );
      } else if (depth > 0 && kind === 2) {
        const cases = Array.from(
          { length: 3 + draw(9) },
          (_, value) => `case ${value}: ${target(scope)} = ${expression(scope, 2)}; ${draw(4) === 0 ? '' : 'break;'}`,
        );
        lines.push(
          `switch ((uint8_t)(${expression(scope, 1)}) % ${cases.length + 1}) {\n${cases.join('\n')}\ndefault: ${target(scope)} = ${expression(scope, 1)};\n}`,
        );
      } else if (kind === 3) lines.push(`emit32((uint32_t)(${expression(scope, 1)}));`);
      else if (kind === 5 && functions.length > 0) {
        // A call stands alone: the order in which operands are worked out is the compiler's own.
        const callee = pick(functions);
        lines.push(
          `${pick(scope).name} = ${callee.name}(${callee.parameters.map((one) => `(${one.type})(${leaf(scope)})`).join(', ')});`,
        );
      } else if (kind === 4) lines.push(`${target(scope)} ^= (${pick(TYPES)})(${expression(scope, 2)});`);
      else lines.push(`${target(scope)} = ${expression(scope, 3)};`);
    }
    return `${lines.join('\n')}\n`;
  };

  const bodies: string[] = [];
  for (let index = 0; index < 2 + draw(4); index++) {
    const parameters = Array.from({ length: draw(5) }, (_, at) => ({ name: `p${at}`, type: pick(TYPES) }));
    const locals = Array.from({ length: draw(6) }, (_, at) => ({ name: `l${at}`, type: pick(TYPES) }));
    const type = pick(TYPES);
    const scope = [...globals, ...parameters, ...locals];
    const declared = locals.map((one) => `${one.type} ${one.name} = (${one.type})${draw(1000)};\n`).join('');
    const list = parameters.map((one) => `${one.type} ${one.name}`).join(', ') || 'void';
    const once = draw(2) === 0 ? '__attribute__((noinline)) ' : '';
    bodies.push(
      `static ${once}${type} f${index}(${list}) {\n${declared}${block(scope, 2, 1)}return (${type})(${expression(scope, 2)});\n}\n`,
    );
    functions.push({ name: `f${index}`, type, parameters });
  }
  const data = globals.map(
    (one) => `static ${draw(4) === 0 ? 'volatile ' : ''}${one.type} ${one.name} = (${one.type})${draw(70000)}u;`,
  );
  const tables = arrays.map((one) => `static ${one.type} ${one.name}[${one.size}];`);
  const digest = [
    ...globals.map((one) => `emit32((uint32_t)${one.name});`),
    ...arrays.map((one) => `for (uint8_t i = 0; i < ${one.size}; i++) emit32((uint32_t)${one.name}[i]);`),
  ];
  const main = `int main(void) {\nfor (uint8_t round = 0; round < 3; round++) {\n${block(globals, 3, 0)}}\n${digest.join('\n')}\nEND();\n}\n`;
  return ['#include "print.h"', ...data, ...tables, ...bodies, main].join('\n');
}
