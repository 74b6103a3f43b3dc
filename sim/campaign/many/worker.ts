/** Where a thread of a campaign starts. How its engine builds code is the program's choice, for all of its threads. */
export { work } from './work.ts';
