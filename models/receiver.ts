/**
 * Radio receiver: the stick of a hand transmitter in, a servo pulse train out.
 *
 *     pulse = neutral + stick x (full - neutral)        stick 0 to 1; towards reverse for -1 to 0
 *     a frame is sent every `frame`; without the link the train is held, goes to a fail-safe pulse, or falls silent
 *     with `replay` the pulses are those of a capture while there is a link: edge by edge, at the capture's instants;
 *     before its first whole pulse and after its last one the line is low
 *
 * 1.5 ms +-0.5 ms about every 20 ms is common practice; no formal standard exists.
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { moved, onPaper } from '../sim/capture/choose.ts';
import type { CapturedPulses } from '../sim/capture/edges.ts';
import { runChart } from '../sim/chart/run.ts';
import type { Fault, Host, Live, PartKind, Ports, StepForm } from '../sim/kernel/part.ts';
import { formatQuantity, ratio, type Settled, seconds } from '../sim/units/index.ts';
import { FLOATING, HIGH, LINE_WORDS, LOW } from './pwm-timer.ts';
import { REPLAY_KEYS, type Replayed, replayShape, takePulses } from './replay.ts';

const pulse = (means: string, example: string) => seconds({ above: 0, max: 0.01, means, example });

export const parameters = z.strictObject({
  neutral: pulse('pulse with the stick in the middle', '1500 us').prefault('1500 us'),
  full: pulse('pulse with the stick fully forward', '2000 us').prefault('2000 us'),
  reverse: pulse('pulse with the stick fully back', '1000 us').prefault('1000 us'),
  frame: seconds({ min: 0.002, max: 0.1, means: 'time from one pulse to the next', example: '20 ms' }).prefault(
    '20 ms',
  ),
  jitter: seconds({ min: 0, max: 1e-3, means: 'jitter of the pulse, standard deviation', example: '2 us' }).prefault(
    '0 us',
  ),
  ...replayShape,
  loss: z
    .strictObject({
      after: seconds({ min: 0, max: 30, means: 'how long the link may be silent', example: '500 ms' }).prefault(
        '500 ms',
      ),
      then: z.enum(['hold', 'fail-safe', 'silent']).prefault('fail-safe').describe('what the train does then'),
      pulse: pulse('fail-safe pulse', '1500 us').prefault('1500 us'),
    })
    .prefault({})
    .describe('what it does when it hears its transmitter no more'),
});
type Parameters = Settled<z.output<typeof parameters>> & Replayed<CapturedPulses>;

export const ports = {
  in: { supply: { means: 'rail that feeds the receiver', from: () => 'rail.voltage' } },
  out: {
    line: { means: 'level of the pulse line', dimension: 'count', words: LINE_WORDS },
    pulse: { means: 'width of the latest pulse', dimension: 'time' },
    deflection: { means: 'deflection of the stick as the pulse tells it, -1 to 1', dimension: 'ratio' },
  },
} as const satisfies Ports;

interface Radio {
  readonly lossSeconds: number;
  isLost(): boolean;
  isSilentOnLoss(): boolean;
  isHoldOnLoss(): boolean;
  startTrain(): void;
  stopTrain(): void;
  toFailSafe(): void;
}

export const chart = setup({
  types: { context: {} as Radio, events: {} as { type: string } },
  guards: {
    lost: ({ context }) => context.isLost(),
    silentOnLoss: ({ context }) => context.isSilentOnLoss(),
    holdOnLoss: ({ context }) => context.isHoldOnLoss(),
  },
  actions: {
    startTrain: ({ context }) => context.startTrain(),
    stopTrain: ({ context }) => context.stopTrain(),
    toFailSafe: ({ context }) => context.toFailSafe(),
  },
  delays: { loss: ({ context }) => context.lossSeconds },
}).createMachine({
  id: 'receiver',
  context: ({ input }) => input as Radio,
  initial: 'off',
  on: { unpowered: '.off' },
  states: {
    // Without a link since power-on there is no train that could be held: common practice, no source.
    off: { entry: 'stopTrain', on: { powered: [{ guard: 'lost', target: 'silent' }, { target: 'linked' }] } },
    linked: { entry: 'startTrain', on: { lost: 'searching' } },
    searching: {
      on: { 'mend lost': 'linked' },
      after: {
        loss: [
          { guard: 'silentOnLoss', target: 'silent' },
          { guard: 'holdOnLoss', target: 'holding' },
          { target: 'fail-safe' },
        ],
      },
    },
    holding: { on: { 'mend lost': 'linked' } },
    'fail-safe': { entry: 'toFailSafe', on: { 'mend lost': 'linked' } },
    silent: { entry: 'stopTrain', on: { 'mend lost': 'linked' } },
  },
});

/** Pulse for a stick position of -1 to 1. */
export function stickPulse(stick: number, neutralSeconds: number, fullSeconds: number, reverseSeconds: number): number {
  return stick >= 0
    ? neutralSeconds + stick * (fullSeconds - neutralSeconds)
    : neutralSeconds - stick * (reverseSeconds - neutralSeconds);
}

export const faults = {
  lost: { enter: 'lost', leave: 'mend lost', means: 'the link is lost' },
  weak: {
    enter: 'weak',
    leave: 'mend weak',
    means: 'frames are lost at random',
    amount: { schema: ratio({ above: 0, max: 1, means: 'share of frames lost', example: '30 %' }), default: 0.3 },
  },
} as const satisfies Readonly<Record<string, Fault>>;

export const steps = {
  stick: {
    means: 'move the transmitter stick, -100 % (back) to 100 % (forward)',
    schema: z.strictObject({ stick: ratio({ min: -1, max: 1, means: 'deflection', example: '50 %' }) }),
  },
} as const satisfies Readonly<Record<string, StepForm>>;

function make(host: Host, numbers: Parameters): Live {
  const state = {
    stick: 0,
    sentStick: 0,
    lossShare: 0,
    isPowered: false,
    isLost: false,
    isFailSafe: false,
    isTrainOn: false,
    frameCount: 0,
    startSeconds: 0,
    pulseSeconds: 0,
    /** Of a capture: the next pulse, and when the latest one rose. */
    pulseIndex: 0,
    riseSeconds: 0,
  };
  const { now, values, out } = host;
  const captured = numbers.captured?.();
  const rises = captured === undefined ? undefined : moved(captured.riseSeconds, numbers.offset ?? 0);
  const falls = captured === undefined ? undefined : moved(captured.fallSeconds, numbers.offset ?? 0);
  const frameHertz = 1 / numbers.frame;
  const loss = host.stream('loss');
  const jitter = host.stream('jitter');
  const frameTimer = host.timer(() => {
    if (rises !== undefined) {
      replayFrame();
      return;
    }
    const isLinked = linked[run.state.mode] === 1 && !(state.lossShare > 0 && loss.uniform() < state.lossShare);
    if (isLinked) state.sentStick = state.stick;
    const deflection = state.sentStick;
    const exact = state.isFailSafe
      ? numbers.loss.pulse
      : stickPulse(deflection, numbers.neutral, numbers.full, numbers.reverse);
    // However wide the jitter, no pulse ends before it begins.
    state.pulseSeconds = numbers.jitter === 0 ? exact : Math.max(0, exact + numbers.jitter * jitter.normal());
    host.emit(out.line!, HIGH);
    host.wake(fallTimer, now[0]! + state.pulseSeconds);
    state.frameCount += 1;
    host.wake(frameTimer, state.startSeconds + state.frameCount / frameHertz);
  });
  /** A pulse of the capture; without the link the last one again, or the fail-safe pulse, one each `frame`. */
  const replayFrame = (): void => {
    const isLinked = linked[run.state.mode] === 1;
    // Set in advance by a change of mode, which cannot know yet what comes next.
    if (isLinked && nextRise() !== now[0]!) {
      planReplay();
      return;
    }
    const isHeard = isLinked && !(state.lossShare > 0 && loss.uniform() < state.lossShare);
    if (isHeard) state.pulseSeconds = onPaper(falls![state.pulseIndex]! - rises![state.pulseIndex]!);
    else if (state.isFailSafe) state.pulseSeconds = numbers.loss.pulse;
    // Where nothing was heard yet there is nothing to repeat.
    if (state.pulseSeconds > 0) {
      state.riseSeconds = now[0]!;
      host.emit(out.line!, HIGH);
      host.wake(fallTimer, isHeard ? falls![state.pulseIndex]! : now[0]! + state.pulseSeconds);
    }
    state.frameCount += 1;
    planReplay();
  };
  /** With the link, the next pulse of the capture; without it, the next frame. */
  const planReplay = (): void => {
    const seconds =
      linked[run.state.mode] === 1 ? nextRise() : Math.max(now[0]!, state.startSeconds + state.frameCount / frameHertz);
    if (seconds < Number.POSITIVE_INFINITY) host.wake(frameTimer, seconds);
    else host.sleep(frameTimer);
  };
  /** When the first pulse of the capture rises that finds the line free, passing over those that do not. */
  const nextRise = (): number => {
    const freeSeconds = host.isAwake(fallTimer) ? host.due[fallTimer]! : now[0]!;
    while (state.pulseIndex < rises!.length && rises![state.pulseIndex]! < freeSeconds) state.pulseIndex += 1;
    return rises![state.pulseIndex] ?? Number.POSITIVE_INFINITY;
  };
  const fallTimer = host.timer(() => {
    host.emit(out.line!, LOW);
    host.emit(out.pulse!, state.pulseSeconds);
    const away = state.pulseSeconds - numbers.neutral;
    host.update(
      out.deflection!,
      away / (away >= 0 ? numbers.full - numbers.neutral : numbers.neutral - numbers.reverse),
    );
  });
  const run = runChart(host, chart, {
    lossSeconds: numbers.loss.after,
    isLost: () => state.isLost,
    isSilentOnLoss: () => numbers.loss.then === 'silent',
    isHoldOnLoss: () => numbers.loss.then === 'hold',
    startTrain: () => {
      state.isFailSafe = false;
      if (state.isTrainOn) return;
      state.isTrainOn = true;
      state.startSeconds = now[0]!;
      state.frameCount = 0;
      host.emit(out.line!, LOW);
      host.wake(frameTimer, now[0]!);
    },
    stopTrain: () => {
      state.isTrainOn = false;
      host.sleep(frameTimer);
      host.sleep(fallTimer);
      host.update(out.line!, state.isPowered ? LOW : FLOATING);
    },
    toFailSafe: () => {
      state.isFailSafe = true;
    },
  } satisfies Radio);
  const linked = run.inside('linked');

  return {
    state,
    start: () => {
      host.emit(out.line!, FLOATING);
      run.start();
    },
    input: () => {
      const isPowered = values[host.in.supply!]! > MINIMUM_VOLTS;
      if (isPowered === state.isPowered) return;
      state.isPowered = isPowered;
      run.send(run.event(isPowered ? 'powered' : 'unpowered'));
    },
    command: (_form, contents) => {
      if (rises !== undefined)
        host.finding('stick-replayed', `it replays ${numbers.replay}, so that its stick moves nothing`);
      state.stick = (contents as { stick: number }).stick;
    },
    fault: (event, amount) => {
      if (event === 'weak') state.lossShare = amount;
      else if (event === 'mend weak') state.lossShare = 0;
      else {
        // Remembered apart from the chart, as the link may be lost while the receiver is off.
        state.isLost = event === 'lost';
        run.send(run.event(event));
        if (rises === undefined || !state.isTrainOn) return;
        // Frames of its own follow the last pulse at its own pace.
        state.startSeconds = state.riseSeconds;
        state.frameCount = Math.floor((now[0]! - state.riseSeconds) * frameHertz) + 1;
        planReplay();
      }
    },
  };
}

/** Receivers work from about 3.5 V; common practice, no source. */
const MINIMUM_VOLTS = 3.5;

export const receiver: PartKind = {
  kind: 'receiver',
  means: 'radio receiver',
  at: 'receiver',
  parameters,
  files: { keys: REPLAY_KEYS, take: takePulses as never },
  ports,
  chart,
  faults,
  steps,
  explain: {
    pulse: ({ value, read, word, parameters: raw }) => {
      const { replay } = raw as Parameters;
      const what = `${word('receiver.mode', read('receiver.mode'))}${replay === undefined ? '' : `, replaying ${replay}`}`;
      return { says: `the receiver (${what}) sends a pulse of ${formatQuantity(value, 'time')}`, next: null };
    },
    line: ({ value, word }) => ({
      says: `the receiver's line is ${word('receiver.line', value)}`,
      next: 'receiver.pulse',
    }),
  },
  tells: { along: 'signal', ports: ['pulse', 'deflection'] },
  roles: { deflection: 'hand' },
  handle: { kind: 'lever', form: 'stick', least: -1, most: 1, port: 'deflection' },
  make: make as PartKind['make'],
};
