/** Which signals of a bench are the foot, the drives, the alarms: as its parts declare it. */
import type { DescribedPart } from '../bench/schema.ts';
import type { Role } from '../kernel/part.ts';

/** Names of the signals that have a role, in wiring order. */
export function signalsWith(parts: readonly DescribedPart[], ...roles: readonly Role[]): string[] {
  return parts.flatMap(({ name, kind }) =>
    Object.entries(kind.roles ?? {}).flatMap(([port, role]) => (roles.includes(role) ? [`${name}.${port}`] : [])),
  );
}
