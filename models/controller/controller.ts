/**
 * Motor controller that takes a servo pulse: measures it, arms on a steady neutral, then drives.
 *
 * Its numbers are read off its manual or measured: neutral, full and reverse pulse, the window and hold time for
 * arming, the valid widths and periods, the reverse rule, the cutoff voltages. How a pulse becomes a drive is in
 * pulse.ts, its modes are in chart.ts, its parameters in parameters.ts, what it says of itself in explain.ts.
 */
import { runChart } from '../../sim/chart/run.ts';
import type { Band, Fault, Host, Live, PartKind, Ports, Self } from '../../sim/kernel/part.ts';
import { ratio } from '../../sim/units/index.ts';
import { HIGH } from '../pwm-timer.ts';
import { type ControllerNumbers, chart } from './chart.ts';
import { explain } from './explain.ts';
import { type Parameters, parameters } from './parameters.ts';
import { makePowerStage } from './power-stage.ts';
import { distanceInside, driveOf, measuredSeconds, type PulseScale } from './pulse.ts';

const isReceiver = (own: unknown): boolean => (own as Parameters).input === 'receiver';

/** A port of the motor that carries the controller's name, if there is one. */
const motorPort =
  (port: string) =>
  ({ name, partNames }: Self): string | undefined =>
    partNames.has(`motors.${name}`) ? `motors.${name}.${port}` : undefined;

/** Why the controller does not arm, as its blink code tells it: values of `refusal`. */
export const REFUSALS = ['none', 'no-pulse', 'pulse-off-neutral', 'frame-period', 'pulse-width'] as const;

export const ports = {
  in: {
    line: { means: 'pulse line', from: ({ parameters: own }) => (isReceiver(own) ? 'receiver.line' : 'pwm.line') },
    supply: { means: 'voltage at the splitter of the harness', from: () => 'harness.voltage' },
    amps: { means: 'current of its motor', from: motorPort('current'), wakes: false },
    emf: { means: 'back-emf of its motor', from: motorPort('emf'), wakes: false },
    drop: { means: 'voltage that its motor takes', from: motorPort('drop'), wakes: false },
    rail: {
      means: 'what the rail takes from it, where it feeds the rail',
      from: ({ name, fed }) => [undefined, 'rail.first', 'rail.second'][fed('rail').indexOf(name) + 1],
      wakes: false,
    },
  },
  out: {
    pulse: { means: 'width of the latest pulse as the controller measured it', dimension: 'time' },
    period: { means: 'time from the rise of one pulse to the next, as measured', dimension: 'time', quiet: true },
    arming: { means: 'how far the pulse is inside what arming takes; negative when outside', dimension: 'time' },
    refusal: { means: 'why it does not arm', dimension: 'count', words: REFUSALS },
    drive: { means: 'drive given to the motor, -1 to 1', dimension: 'ratio' },
    steps: {
      means: 'how often the drive went higher than ever since power-on: the distinct steps of a rising sweep',
      dimension: 'count',
    },
    brake: { means: 'braking, 0 to 1', dimension: 'ratio' },
    neutral: { means: 'neutral pulse that it works with', dimension: 'time' },
    full: { means: 'full pulse that it works with', dimension: 'time' },
    buzzer: { means: 'low-voltage warning: 0 silent, 1 sounding', dimension: 'count' },
    supply: { means: 'voltage at its terminals', dimension: 'voltage', kind: 'flowing' },
    current: { means: 'current that it takes', dimension: 'current', kind: 'flowing' },
    volts: { means: 'average voltage that it gives its motor', dimension: 'voltage', kind: 'flowing' },
    duty: { means: 'duty cycle of its bridge, -1 to 1', dimension: 'ratio', kind: 'flowing' },
    least: { means: 'least motor current that the bridge lets flow', dimension: 'current', kind: 'flowing' },
    most: { means: 'greatest motor current that the bridge lets flow', dimension: 'current', kind: 'flowing' },
    temperature: { means: 'temperature of its switches', dimension: 'temperature', kind: 'flowing' },
    loss: { means: 'energy lost in lead and bridge', dimension: 'energy', kind: 'flowing', isBook: true },
  },
} as const satisfies Ports;

export const faults = {
  'clock-off': {
    enter: 'clock-off',
    leave: 'mend clock-off',
    means: "the controller's own clock runs off, so that it measures pulses too long (positive) or too short",
    amount: {
      schema: ratio({ min: -0.5, max: 0.5, means: 'error of its time measurement', example: '5 %' }),
      default: 0.05,
    },
  },
} as const satisfies Readonly<Record<string, Fault>>;

/** How often a controller looks at its supply: common practice, no source. */
const LOOKS_PER_SECOND = 50;

function make(host: Host, numbers: Parameters): Live {
  const state = {
    neutralSeconds: numbers.pulse.neutral,
    fullSeconds: numbers.pulse.full,
    learnedFullSeconds: 0,
    clockError: numbers.pulse.clock as number,
    pulseSeconds: 0,
    periodSeconds: 0,
    riseSeconds: -1,
    isHigh: false,
    clockFault: 0,
    isPowered: false,
    mayReverse: false,
    wanted: 0,
    heldDrive: 0,
    heldBrake: 0,
    highestDrive: 0,
    stepCount: 0,
    lookCount: 0,
    powerSeconds: 0,
    cutFromSeconds: Number.POSITIVE_INFINITY,
    /** Supply at the latest look. */
    supplyVolts: 0,
  };
  const { now, values, due, out, bits } = host;
  const periodOut = out.period!;
  const pulseOut = out.pulse!;
  const driveOut = out.drive!;
  const brakeOut = out.brake!;
  const supplyBit = bits.supply!;
  const lineBit = bits.line!;
  const lineIn = host.in.line!;
  const supplyOut = out.supply!;
  const { arming, cutoff } = numbers;
  const [leastPulse, mostPulse] = numbers.pulse.valid;
  const [leastPeriod, mostPeriod] = numbers.pulse.period;
  const deadSeconds = numbers.pulse.dead ?? Math.max(arming.window.above, arming.window.below);
  const scale = {
    neutralSeconds: state.neutralSeconds,
    fullSeconds: state.fullSeconds,
    reverseSeconds: numbers.pulse.reverse ?? Number.NaN,
    deadSeconds,
  };
  host.attach({ state: scale });
  const windowMargin = (): number =>
    distanceInside(
      state.pulseSeconds,
      state.neutralSeconds - arming.window.below,
      state.neutralSeconds + arming.window.above,
    );
  const periodMargin = (): number =>
    state.periodSeconds === 0 ? Number.POSITIVE_INFINITY : distanceInside(state.periodSeconds, leastPeriod, mostPeriod);

  const takeConstants = (): void => {
    (scale as { -readonly [K in keyof PulseScale]: number }).neutralSeconds = state.neutralSeconds;
    (scale as { -readonly [K in keyof PulseScale]: number }).fullSeconds = state.fullSeconds;
    host.update(out.neutral!, state.neutralSeconds);
    host.update(out.full!, state.fullSeconds);
  };
  const isVoltageLow = (): boolean => cutoff?.limit !== undefined && state.supplyVolts < cutoff.limit;
  const stop = (): void => {
    state.wanted = 0;
  };
  const controller: ControllerNumbers = {
    bootSeconds: numbers.boot,
    holdSeconds: arming.hold,
    refuseSeconds: arming.refuse.after,
    lostSeconds: numbers['signal-loss'].after,
    learnSeconds: numbers.learning?.hold ?? 0,
    reverseSeconds: numbers.reverse === 'delayed' ? numbers['reverse-delay'] : Number.POSITIVE_INFINITY,
    hasLearning: numbers.learning !== undefined,
    locksOut: arming.refuse.then === 'lock-out',
    rearmsAtOnce: numbers['signal-loss'].rearm === 'at-once',
    isPowered: () => state.supplyVolts >= numbers['least-voltage'],
    isInWindow: () => windowMargin() >= 0,
    isForward: () => state.wanted > 0,
    isBackward: () => state.wanted < 0,
    isFull: () =>
      Math.abs(state.pulseSeconds - state.neutralSeconds) >=
        (1 - FULL_SHARE) * Math.abs(state.fullSeconds - state.neutralSeconds) &&
      state.pulseSeconds > state.neutralSeconds === state.fullSeconds > state.neutralSeconds,
    mayReverse: () => numbers.reverse === 'direct' || (numbers.reverse !== 'none' && state.mayReverse),
    isReversible: () => numbers.pulse.reverse !== undefined,
    allowReverseAfterBraking: () => {
      if (numbers.reverse === 'brake-first') state.mayReverse = true;
    },
    isCutDue: () => now[0]! >= state.cutFromSeconds,
    isLimited: () => isVoltageLow() || stage.isLimiting() || stage.derating() < 1,
    isTooHot: () => stage.isTooHot(),
    isCool: () => stage.isCool(),
    // Without pulses there is nothing to go on with.
    mayResume: () =>
      cutoff !== undefined &&
      cutoff.latched === false &&
      state.supplyVolts >= releaseVolts &&
      host.isAwake(silenceTimer),
    mayResumeAtNeutral: () =>
      cutoff !== undefined && cutoff.latched !== 'power-cycle' && state.supplyVolts >= releaseVolts,
    forgetReverse: () => {
      state.mayReverse = false;
    },
    allowReverse: () => {
      state.mayReverse = numbers.reverse !== 'none';
    },
    learnFull: () => {
      const isFurther =
        Math.abs(state.pulseSeconds - state.neutralSeconds) > Math.abs(state.learnedFullSeconds - state.neutralSeconds);
      if (state.learnedFullSeconds === 0 || isFurther) state.learnedFullSeconds = state.pulseSeconds;
    },
    learnNeutral: () => {
      state.fullSeconds = state.learnedFullSeconds;
      state.neutralSeconds = state.pulseSeconds;
      state.learnedFullSeconds = 0;
      takeConstants();
    },
    loseSignal: () => {
      const isHeld = numbers['signal-loss'].then === 'hold';
      state.heldDrive = isHeld ? values[driveOut]! : 0;
      state.heldBrake = isHeld ? values[brakeOut]! : numbers['signal-loss'].then === 'brake' ? 1 : 0;
      stop();
    },
    disarm: () => {
      state.mayReverse = false;
      state.learnedFullSeconds = 0;
      stop();
      // Nothing has been measured yet that could be near to arming.
      host.update(out.arming!, Number.NEGATIVE_INFINITY);
    },
    setClockOff: () => {
      state.clockError = numbers.pulse.clock + state.clockFault;
    },
    setClockRight: () => {
      state.clockError = numbers.pulse.clock;
    },
  };
  const stage = makePowerStage(host, numbers);
  const releaseVolts = cutoff?.release ?? cutoff?.cut ?? 0;
  const run = runChart(host, chart, controller);
  const events = {
    supply: run.event('supply'),
    pulse: run.event('pulse'),
    bad: run.event('bad pulse'),
    silence: run.event('silence'),
    volts: run.event('volts'),
  };
  const isLost = run.inside('signal-lost');
  const isStarting = run.inside('starting');
  const isWaiting = run.inside('waiting-for-neutral');
  const isLimited = run.inside('armed.limited');
  const isBraking = run.inside('armed.braking');
  const isReversing = run.inside('armed.reversing');
  const isDriving = Uint8Array.from(run.inside('armed.driving'), (flag, leaf) => flag | isLimited[leaf]!);

  /** Turns mode and pulse into drive and brake. */
  const apply = (): void => {
    const { mode } = run.state;
    let drive = 0;
    let brake = 0;
    if (isDriving[mode] === 1) drive = Math.max(0, state.wanted);
    else if (isReversing[mode] === 1) drive = Math.min(0, state.wanted);
    else if (isBraking[mode] === 1) brake = -Math.min(0, state.wanted);
    else if (isLost[mode] === 1) {
      drive = state.heldDrive;
      brake = state.heldBrake;
    }
    if (isLimited[mode] === 1 && isVoltageLow()) drive = Math.min(drive, cutoff?.['limit-to'] ?? 1);
    host.update(driveOut, drive);
    if (drive > state.highestDrive) {
      state.highestDrive = drive;
      state.stepCount += 1;
      host.emit(out.steps!, state.stepCount);
    }
    host.update(brakeOut, brake);
    stage.set(drive, brake, state.isPowered);
  };
  const silenceTimer = host.timer(() => {
    state.periodSeconds = 0;
    run.send(events.silence);
    // It does not listen yet; silence is told of once it does.
    if (isStarting[run.state.mode] === 1) host.wake(silenceTimer, now[0]! + controller.lostSeconds);
    if (isWaiting[run.state.mode] === 1) host.update(out.refusal!, 1);
    apply();
  });
  const lookTimer = host.timer(() => {
    switchPower();
    if (state.isPowered) lookAtSupply();
    state.lookCount += 1;
    // A supply that sinks and recovers under load tells nobody: also an unpowered controller watches for it.
    if (state.supplyVolts > 0) host.wake(lookTimer, state.powerSeconds + state.lookCount / LOOKS_PER_SECOND);
  });
  const lookAtSupply = (): void => {
    const { supplyVolts } = state;
    if (cutoff === undefined) {
      if (run.send(events.volts)) apply();
      return;
    }
    if (supplyVolts >= cutoff.cut) state.cutFromSeconds = Number.POSITIVE_INFINITY;
    else if (state.cutFromSeconds === Number.POSITIVE_INFINITY) state.cutFromSeconds = now[0]! + cutoff.delay;
    if (cutoff.warn !== undefined) host.update(out.buzzer!, supplyVolts < cutoff.warn ? 1 : 0);
    if (run.send(events.volts)) apply();
  };
  const switchPower = (): void => {
    host.sample(supplyOut);
    state.supplyVolts = values[supplyOut]!;
    const isPowered = controller.isPowered();
    if (isPowered === state.isPowered) return;
    state.isPowered = isPowered;
    state.highestDrive = 0;
    state.stepCount = 0;
    state.riseSeconds = -1;
    state.isHigh = false;
    state.periodSeconds = 0;
    state.cutFromSeconds = Number.POSITIVE_INFINITY;
    host.sleep(silenceTimer);
    state.powerSeconds = now[0]!;
    state.lookCount = 0;
    run.send(events.supply);
    if (isPowered) {
      host.wake(silenceTimer, now[0]! + controller.lostSeconds);
      takeConstants();
    } else {
      host.update(out.refusal!, 0);
      host.update(out.buzzer!, 0);
    }
    apply();
  };

  const rise = (): void => {
    state.isHigh = true;
    if (state.riseSeconds >= 0) {
      state.periodSeconds = measuredSeconds(now[0]! - state.riseSeconds, state.clockError, 0);
      values[periodOut] = state.periodSeconds;
      host.noted(periodOut);
    }
    state.riseSeconds = now[0]!;
  };
  const fall = (): void => {
    state.isHigh = false;
    state.pulseSeconds = measuredSeconds(now[0]! - state.riseSeconds, state.clockError, numbers.pulse.resolution);
    const isWidthGood = state.pulseSeconds >= leastPulse && state.pulseSeconds <= mostPulse;
    const isPeriodGood = periodMargin() >= 0;
    values[pulseOut] = state.pulseSeconds;
    host.published(pulseOut);
    if (isWaiting[run.state.mode] === 1)
      host.update(
        out.arming!,
        Math.min(windowMargin(), periodMargin(), distanceInside(state.pulseSeconds, leastPulse, mostPulse)),
      );
    if (isWidthGood && isPeriodGood) {
      state.wanted = driveOf(state.pulseSeconds, scale);
      due[silenceTimer] = now[0]! + controller.lostSeconds;
      host.moved(silenceTimer);
      run.send(events.pulse);
    } else {
      run.send(events.bad);
    }
    if (isWaiting[run.state.mode] === 1)
      host.update(out.refusal!, !isPeriodGood ? 3 : !isWidthGood ? 4 : controller.isInWindow() ? 0 : 2);
    apply();
  };

  return {
    state,
    start: () => {
      run.start();
      takeConstants();
    },
    input: (changed) => {
      if (changed & supplyBit) {
        switchPower();
        if (state.supplyVolts > 0 && !host.isAwake(lookTimer)) {
          state.powerSeconds = now[0]!;
          state.lookCount = 0;
          host.wake(lookTimer, now[0]!);
        }
      }
      if (changed & lineBit && state.isPowered) {
        // An open input reads low, by the pull-down that such inputs have: common practice, no source.
        const isHigh = values[lineIn]! === HIGH;
        if (isHigh && !state.isHigh) rise();
        else if (!isHigh && state.isHigh) fall();
      }
    },
    fault: (event, amount) => {
      state.clockFault = amount;
      run.send(run.event(event));
    },
  };
}

/** What a pulse is measured against; the same ranges count on the line from each rise. */
function bands(numbers: Parameters, read: (port: string) => number): Readonly<Record<string, readonly Band[]>> {
  const neutral = read('neutral');
  const full = read('full');
  const { window } = numbers.arming;
  const { reverse, valid } = numbers.pulse;
  const pulse: readonly Band[] = [
    { name: 'neutral', least: neutral - window.below, most: neutral + window.above, role: 'aim' },
    { name: 'full', least: full, most: full, role: 'mark' },
    ...(reverse === undefined ? [] : [{ name: 'reverse', least: reverse, most: reverse, role: 'mark' as const }]),
    { name: 'valid', least: valid[0], most: valid[1], role: 'limit' },
  ];
  return { pulse, line: pulse };
}

/** A pulse within this share of the travel from full counts as full when end points are learned. */
const FULL_SHARE = 0.15;

export const controller: PartKind = {
  kind: 'controller',
  means: 'motor controller',
  at: 'controllers.*',
  required: true,
  parameters,
  ports,
  chart,
  faults,
  gauges: { armed: 'arming' },
  explain,
  tells: { along: 'signal', ports: ['pulse', 'drive', 'refusal', 'supply'] },
  roles: { drive: 'drive', brake: 'brake', refusal: 'alarm', buzzer: 'alarm' },
  bands,
  make: make as PartKind['make'],
};
