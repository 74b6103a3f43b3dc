/** Where a thread of a campaign starts: a program of our own, so that it may set the engine as it likes. */
import { allowWideInlining } from '../../kernel/inlining.ts';

allowWideInlining();

export { work } from './work.ts';
