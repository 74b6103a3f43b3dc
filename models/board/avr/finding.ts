/** What a program did that a chip would not forgive, or that no program means to do. Told, never thrown. */
export const FINDING_KINDS = [
  'illegal-instruction', // an opcode that the chip does not have; carried out as doing nothing
  'outside-image', // ran into words that the image does not give; carried out as doing nothing
  'load-outside-memory', // reads as 0
  'store-outside-memory', // lost
  'stack-into-data', // the stack has grown into variables or the heap
  'stack-outside-memory', // pushed or popped beyond the SRAM
  'self-programming', // SPM does nothing here
  'break', // BREAK does nothing without a debugger
] as const;
export type FindingKind = (typeof FINDING_KINDS)[number];

export interface Finding {
  readonly kind: FindingKind;
  /** When it was first seen. */
  readonly cycle: number;
  /** Byte address of the instruction. */
  readonly pc: number;
  /** Data address concerned, where there is one. */
  readonly address: number;
  /** How often it has been seen at this instruction. */
  count: number;
}

const FINDING_LIMIT = 100;

/** Adds to the count of a finding of this kind at this instruction, or begins a new one while there is room. */
export function addFinding(findings: Finding[], kind: FindingKind, cycle: number, pc: number, address: number): void {
  for (const finding of findings) {
    if (finding.kind === kind && finding.pc === pc) {
      finding.count++;
      return;
    }
  }
  if (findings.length < FINDING_LIMIT) findings.push({ kind, cycle, pc, address, count: 1 });
}
