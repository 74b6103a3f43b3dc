/** From a request to the craft that it asks for; each kind is loaded only when it is. */
import { BrokenInvariant } from '../../kernel/assert.ts';
import type { FaultsRequest } from '../faults/craft.ts';
import type { HuntRequest } from '../hunt/ground.ts';
import type { SpreadRequest } from '../spread/craft.ts';
import type { Craft, CraftRequest } from './craft.ts';

export async function openCraft(request: CraftRequest): Promise<Craft> {
  switch (request.kind) {
    case 'spread':
      return (await import('../spread/craft.ts')).openSpread(request as SpreadRequest);
    case 'faults':
      return (await import('../faults/craft.ts')).openFaults(request as FaultsRequest);
    case 'hunt':
      return (await import('../hunt/craft.ts')).openHunt(request as HuntRequest);
    default:
      throw new BrokenInvariant('a campaign of no known kind', { kind: request.kind });
  }
}
