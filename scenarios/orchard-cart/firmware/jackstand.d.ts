/** What a module of firmware logic in TypeScript has of its board: the argument of its `init` and `pass`. */
export interface Board {
  /** The count of the conversion that this pass began with; 0 before the first. */
  readCount(): number;
  /** Stores the compare value of the timer whose output the controllers listen to. */
  setCompare(compare: number): void;
  /** 1 where the pin is high, 0 where it is low; pins have the numbers 0 to 15. */
  readPin(pin: number): number;
  setPin(pin: number, level: boolean | number): void;
  /** Width of the latest pulse of the radio receiver in microseconds; 0 where there is none. */
  readPulse(): number;
  /** Microseconds since the program started; after 71 minutes it begins again at 0. */
  timeUs(): number;
  /** Sends a text out of the serial port. */
  print(text: string): void;
  /** The next byte that has come in over the serial port; -1 where there is none. */
  readByte(): number;
}
