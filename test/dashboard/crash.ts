/** A program for the terminal tests: borrows the terminal as the dashboard does, and then something goes wrong. */
import { borrowTerminal } from '../../sim/dashboard/terminal.ts';

borrowTerminal(process.stdin, process.stdout, process);
process.stdin.setRawMode(true);
setTimeout(() => {
  throw new Error('a fault for the test');
}, 100);
