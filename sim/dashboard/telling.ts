/** Which signals of a bench are worth showing, from what its parts declare of themselves. */
import type { DescribedPart } from '../bench/schema.ts';
import type { Band, Tells } from '../kernel/part.ts';
import type { Player } from './player.ts';

/** A part that declares nothing tells its mode and its first out port. */
export function tellsOf({ kind }: Pick<DescribedPart, 'kind'>): Tells {
  return kind.tells ?? { along: 'signal', ports: Object.keys(kind.ports.out).slice(0, 1) };
}

/** Signals that are recorded whatever the scenario expects: modes and telling ports. */
export function tellingSignals(parts: readonly DescribedPart[]): string[] {
  return parts.flatMap((part) => {
    const { ports, hasBusyMode } = tellsOf(part);
    const modes = hasBusyMode === true ? [] : [`${part.name}.mode`];
    return [
      ...modes,
      ...ports.filter((port) => part.kind.ports.out[port]?.drawn !== true).map((port) => `${part.name}.${port}`),
    ];
  });
}

export interface Aim {
  readonly part: string;
  readonly signal: string;
  readonly bands: readonly Band[];
}

/** The parts with a range that a value of theirs must hit. */
export function aimPorts(player: Player): Aim[] {
  return player.assembly.parts.flatMap((part): Aim[] => {
    const bands = part.kind.bands?.(part.parameters as never, (port) => player.present(`${part.name}.${port}`));
    if (bands === undefined) return [];
    const port = Object.keys(bands).find(
      (name) => part.kind.ports.out[name] !== undefined && bands[name]!.some(({ role }) => role === 'aim'),
    );
    return port === undefined ? [] : [{ part: part.name, signal: `${part.name}.${port}`, bands: bands[port]! }];
  });
}
