/** The kinds of parts, in wiring order: at one instant, earlier ones act first. */
import type { PartKind } from '../sim/kernel/part.ts';
import { adc } from './adc.ts';
import { battery } from './battery.ts';
import { board } from './board/board.ts';
import { image } from './board/image.ts';
import { mapping } from './board/mapping.ts';
import { module } from './board/module.ts';
import { controller } from './controller/controller.ts';
import { harness } from './harness.ts';
import { motor } from './motor.ts';
import { pedal } from './pedal.ts';
import { pwmTimer } from './pwm-timer.ts';
import { rail } from './rail.ts';
import { receiver } from './receiver.ts';
import { selector } from './selector.ts';
import { vehicle } from './vehicle.ts';

export const partKinds: readonly PartKind[] = [
  battery,
  harness,
  rail,
  pedal,
  selector,
  receiver,
  board,
  adc,
  mapping,
  image,
  module,
  pwmTimer,
  vehicle,
  controller,
  motor,
];
