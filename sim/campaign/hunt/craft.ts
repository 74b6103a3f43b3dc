/** A hunt's rows: one for each island. */
import type { Craft } from '../many/craft.ts';
import { type HuntRequest, openGround } from './ground.ts';
import { searchIsland } from './island.ts';

export function openHunt(request: HuntRequest): Craft {
  const ground = openGround(request);
  return { count: request.islands, row: (island, minder, begun) => searchIsland(ground, island, minder, begun) };
}
