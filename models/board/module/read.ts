/** Reads a module of firmware by what its file is: WebAssembly, TypeScript or JavaScript. */
import { type ModuleRead, oneLine } from './program.ts';
import { readScriptModule } from './script/module.ts';
import { readWasmModule } from './wasm/module.ts';

/** `\0asm`: WebAssembly Core Specification, section 5.5.16. */
const WASM_MAGIC = [0x00, 0x61, 0x73, 0x6d];

export function readModule(fileName: string, bytes: Uint8Array): ModuleRead {
  const { program, mistakes } = readAsItIs(fileName, bytes);
  // Names from the file stand in them.
  const told = mistakes.map((mistake) => ({ ...mistake, says: oneLine(mistake.says) }));
  return program === undefined ? { mistakes: told } : { program, mistakes: told };
}

function readAsItIs(fileName: string, bytes: Uint8Array): ModuleRead {
  const isWasm = WASM_MAGIC.every((byte, index) => bytes[index] === byte);
  if (isWasm || /\.wasm$/i.test(fileName)) return readWasmModule(bytes);
  const script = /\.([cm]?)(ts|js)$/i.exec(fileName);
  if (script !== null)
    return readScriptModule(bytes, fileName.split(/[\\/]/).at(-1)!, script[2]!.toLowerCase() === 'ts');
  return {
    mistakes: [{ says: 'a module is WebAssembly (`.wasm`), TypeScript (`.ts`) or JavaScript (`.js`, `.mjs`)' }],
  };
}
