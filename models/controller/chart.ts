/** The modes of a motor controller that is driven by servo pulses. Guards read the controller's numbers. */
import { setup } from 'xstate';

/** What the chart asks and does of the controller behind it. Times are in seconds. */
export interface ControllerNumbers {
  readonly bootSeconds: number;
  readonly holdSeconds: number;
  readonly refuseSeconds: number;
  readonly lostSeconds: number;
  readonly learnSeconds: number;
  /** How long neutral must last before reverse is given; Infinity where the rule knows no such wait. */
  readonly reverseSeconds: number;
  readonly hasLearning: boolean;
  readonly locksOut: boolean;
  readonly rearmsAtOnce: boolean;
  isPowered(): boolean;
  isInWindow(): boolean;
  isForward(): boolean;
  isBackward(): boolean;
  isFull(): boolean;
  mayReverse(): boolean;
  isReversible(): boolean;
  isCutDue(): boolean;
  /** Low voltage, heat or the current limit holds the drive back. */
  isLimited(): boolean;
  isTooHot(): boolean;
  isCool(): boolean;
  mayResume(): boolean;
  mayResumeAtNeutral(): boolean;
  forgetReverse(): void;
  allowReverse(): void;
  allowReverseAfterBraking(): void;
  learnFull(): void;
  learnNeutral(): void;
  loseSignal(): void;
  disarm(): void;
  setClockOff(): void;
  setClockRight(): void;
}

export const chart = setup({
  types: { context: {} as ControllerNumbers, events: {} as { type: string } },
  guards: {
    powered: ({ context }) => context.isPowered(),
    unpowered: ({ context }) => !context.isPowered(),
    inWindow: ({ context }) => context.isInWindow(),
    outsideWindow: ({ context }) => !context.isInWindow(),
    forward: ({ context }) => context.isForward(),
    backward: ({ context }) => context.isBackward() && context.isReversible(),
    mayReverse: ({ context }) => context.isBackward() && context.mayReverse(),
    neutral: ({ context }) => !context.isForward() && !(context.isBackward() && context.isReversible()),
    learnable: ({ context }) => context.hasLearning && context.isFull(),
    notFull: ({ context }) => !context.isFull(),
    locksOut: ({ context }) => context.locksOut,
    cutDue: ({ context }) => context.isCutDue(),
    limited: ({ context }) => context.isLimited(),
    unlimited: ({ context }) => !context.isLimited(),
    tooHot: ({ context }) => context.isTooHot(),
    cool: ({ context }) => context.isCool(),
    mayResume: ({ context }) => context.mayResume(),
    mayResumeAtNeutral: ({ context }) => context.mayResumeAtNeutral() && context.isInWindow(),
    rearmsAtOnce: ({ context }) => context.rearmsAtOnce,
  },
  actions: {
    forgetReverse: ({ context }) => context.forgetReverse(),
    allowReverse: ({ context }) => context.allowReverse(),
    allowReverseAfterBraking: ({ context }) => context.allowReverseAfterBraking(),
    learnFull: ({ context }) => context.learnFull(),
    learnNeutral: ({ context }) => context.learnNeutral(),
    disarm: ({ context }) => context.disarm(),
    loseSignal: ({ context }) => context.loseSignal(),
    setClockOff: ({ context }) => context.setClockOff(),
    setClockRight: ({ context }) => context.setClockRight(),
  },
  delays: {
    boot: ({ context }) => context.bootSeconds,
    hold: ({ context }) => context.holdSeconds,
    refuse: ({ context }) => context.refuseSeconds,
    lost: ({ context }) => context.lostSeconds,
    learn: ({ context }) => context.learnSeconds,
    reverse: ({ context }) => context.reverseSeconds,
  },
}).createMachine({
  id: 'controller',
  context: ({ input }) => input as ControllerNumbers,
  initial: 'unpowered',
  on: {
    supply: { guard: 'unpowered', target: '.unpowered' },
    'clock-off': { actions: 'setClockOff' },
    'mend clock-off': { actions: 'setClockRight' },
  },
  states: {
    unpowered: { entry: 'disarm', on: { supply: { guard: 'powered', target: 'starting' } } },
    starting: { entry: 'disarm', after: { boot: 'waiting-for-neutral' } },
    'waiting-for-neutral': {
      initial: 'listening',
      states: {
        // No pulse yet since power-on: only now may end points be learned.
        listening: {
          on: {
            pulse: [
              { guard: 'learnable', target: '#controller.learning' },
              { guard: 'inWindow', target: 'holding' },
              { target: 'refusing' },
            ],
            'bad pulse': 'refusing',
          },
        },
        silent: {
          on: { pulse: [{ guard: 'inWindow', target: 'holding' }, { target: 'refusing' }], 'bad pulse': 'refusing' },
        },
        holding: {
          on: { pulse: { guard: 'outsideWindow', target: 'refusing' }, 'bad pulse': 'refusing', silence: 'silent' },
          after: { hold: '#controller.armed' },
        },
        refusing: {
          on: { pulse: { guard: 'inWindow', target: 'holding' }, silence: 'silent' },
          after: { refuse: { guard: 'locksOut', target: '#controller.locked-out' } },
        },
      },
    },
    learning: {
      initial: 'full',
      on: { 'bad pulse': 'waiting-for-neutral.refusing', silence: 'waiting-for-neutral.silent' },
      states: {
        full: {
          on: { pulse: { guard: 'notFull', target: '#controller.waiting-for-neutral.refusing' } },
          after: { learn: 'low' },
        },
        low: { entry: 'learnFull', on: { pulse: { guard: 'notFull', target: 'neutral' } } },
        neutral: { on: { pulse: { guard: 'learnable', target: 'low' } }, after: { learn: 'done' } },
        done: { entry: 'learnNeutral', always: '#controller.waiting-for-neutral.silent' },
      },
    },
    'locked-out': { entry: 'disarm' },
    armed: {
      initial: 'neutral',
      on: {
        silence: 'signal-lost',
        volts: [
          { guard: 'tooHot', target: 'over-temperature' },
          { guard: 'cutDue', target: 'cut-off' },
        ],
      },
      states: {
        neutral: {
          on: {
            pulse: [
              { guard: 'forward', target: 'driving' },
              { guard: 'mayReverse', target: 'reversing' },
              { guard: 'backward', target: 'braking' },
            ],
          },
          after: { reverse: { actions: 'allowReverse' } },
        },
        driving: {
          entry: 'forgetReverse',
          on: {
            pulse: [
              { guard: 'neutral', target: 'neutral' },
              // Straight from driving only where the rule is direct: entering it took back any other leave.
              { guard: 'mayReverse', target: 'reversing' },
              { guard: 'backward', target: 'braking' },
            ],
            volts: [
              { guard: 'tooHot', target: '#controller.over-temperature' },
              { guard: 'cutDue', target: '#controller.cut-off' },
              { guard: 'limited', target: 'limited' },
            ],
          },
        },
        limited: {
          on: {
            pulse: [
              { guard: 'neutral', target: 'neutral' },
              // Straight from driving only where the rule is direct: entering it took back any other leave.
              { guard: 'mayReverse', target: 'reversing' },
              { guard: 'backward', target: 'braking' },
            ],
            volts: [
              { guard: 'tooHot', target: '#controller.over-temperature' },
              { guard: 'cutDue', target: '#controller.cut-off' },
              { guard: 'unlimited', target: 'driving' },
            ],
          },
        },
        braking: {
          on: {
            pulse: [
              { guard: 'forward', target: 'driving' },
              { guard: 'neutral', target: 'neutral', actions: 'allowReverseAfterBraking' },
            ],
          },
        },
        reversing: {
          on: {
            pulse: [
              { guard: 'forward', target: 'driving' },
              { guard: 'neutral', target: 'neutral' },
            ],
          },
        },
      },
    },
    'cut-off': {
      entry: 'disarm',
      on: {
        volts: { guard: 'mayResume', target: 'armed' },
        pulse: { guard: 'mayResumeAtNeutral', target: 'waiting-for-neutral.holding' },
      },
    },
    'over-temperature': { entry: 'disarm', on: { volts: { guard: 'cool', target: 'waiting-for-neutral.silent' } } },
    'signal-lost': {
      entry: 'loseSignal',
      on: {
        pulse: [
          { guard: 'rearmsAtOnce', target: 'armed' },
          { guard: 'inWindow', target: 'waiting-for-neutral.holding' },
          { target: 'waiting-for-neutral.refusing' },
        ],
        // A controller that keeps driving without a signal still heeds its battery.
        volts: { guard: 'cutDue', target: 'cut-off' },
      },
    },
  },
});
