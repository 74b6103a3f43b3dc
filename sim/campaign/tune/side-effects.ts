/** What a timer setting changes beside the pulse, and how much that weighs when two settings are otherwise equal. */
import type { PwmSetup } from '../../../models/pwm-timer-registers.ts';
import type { ThrottlePath } from '../../../models/throttle/path.ts';
import type { Constants } from '../../../models/throttle/standing.ts';

export interface SideEffect {
  readonly code: 'time-base' | 'keeps-time' | 'channel-lost' | 'unbuffered-top' | 'input-constants';
  readonly says: string;
  readonly weight: number;
}

export function sideEffectsOf(
  path: ThrottlePath,
  { timer, waveform, prescaler }: PwmSetup,
  constants: Constants,
): SideEffect[] {
  const { firmware } = path;
  const keeper = firmware['keeps-time'];
  const isOwnInput =
    constants.input.every((count, index) => count === firmware.input[index]) && constants.clamp === firmware.clamp;
  return [
    ...(timer.sideEffect === undefined
      ? []
      : [{ code: timer.sideEffect.code, says: timer.sideEffect.says, weight: 4 }]),
    ...(keeper === undefined || keeper.prescaler === prescaler
      ? []
      : [
          {
            code: 'keeps-time' as const,
            says: `the bench says that the PWM timer keeps the firmware's time for divider ${keeper.prescaler}: with ${prescaler} its delays take ${prescaler / keeper.prescaler} times as long; if the pulse moves to another timer, take keeps-time out`,
            weight: 2,
          },
        ]),
    ...(waveform.topFrom === 'compare-a'
      ? [
          {
            code: 'channel-lost' as const,
            says: `OCR${timer.number}A holds the top, so that only channel B gives a pulse`,
            weight: 1,
          },
        ]
      : []),
    ...(waveform.topFrom === 'input-capture'
      ? [
          {
            code: 'unbuffered-top' as const,
            says: `ICR${timer.number} is not double-buffered: set the top before the clock starts and leave it`,
            weight: 0.5,
          },
        ]
      : []),
    ...(isOwnInput
      ? []
      : [
          {
            code: 'input-constants' as const,
            says: `the law takes counts ${constants.input.join(' to ')}, clamped, so that every pedal within tolerance rests and ends on one compare each; what lies beyond is dead travel`,
            weight: 0.25,
          },
        ]),
  ];
}
