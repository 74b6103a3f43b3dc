/** What `tune` found, for programs: times in microseconds unless their name says otherwise. */

import type { Margin } from '../../models/throttle/standing.ts';
import type { Tuned, Tuning } from '../campaign/tune.ts';
import { TOOL_VERSION } from './version.ts';

const micro = (seconds: number): number => Number((seconds * 1e6).toPrecision(12));
/** JSON has no infinity: an open end is null. */
const end = (seconds: number): number | null => (Number.isFinite(seconds) ? micro(seconds) : null);

export function tuneJson({ bench, now, tuned, costs, triedCount, setupCount, isInterrupted }: Tuning): string {
  return `${JSON.stringify(
    {
      jackstand: TOOL_VERSION,
      format: 1,
      bench: bench.title,
      file: bench.file,
      unit: 'us',
      fits: tuned[0]?.fits === true,
      now: { worst: marginJson(now.standing.worst), steps: now.steps },
      settings: tuned.map(settingJson),
      costs: costs.map(({ path, tolerance, seconds }) => ({ path, tolerance, worstWithout: micro(seconds) })),
      tried: triedCount,
      setups: setupCount,
      interrupted: isInterrupted,
    },
    null,
    2,
  )}\n`;
}

function settingJson(tuned: Tuned): Record<string, unknown> {
  const { setup, setting, constants, standing } = tuned;
  return {
    timer: setup.timer.name,
    waveform: setup.waveform.number,
    mode: setting.mode,
    prescaler: setting.prescaler,
    top: setting.top,
    tick: micro(tuned.tickSeconds),
    frame: micro(tuned.frameSeconds),
    constants,
    fits: tuned.fits,
    worst: marginJson(standing.worst),
    margins: standing.margins.map(marginJson),
    steps: tuned.steps,
    sideEffects: tuned.sideEffects.map(({ code, says }) => ({ code, says })),
    registers: tuned.registers,
    pin: tuned.pin,
    with: tuned.patch,
    ...(tuned.confirmation === undefined ? {} : { confirmation: tuned.confirmation }),
  };
}

const marginJson = ({ need, controller, seconds, measured, wanted }: Margin): Record<string, unknown> => ({
  need,
  controller,
  margin: micro(seconds),
  measured: [micro(measured.least), micro(measured.most)],
  wanted: [end(wanted.least), end(wanted.most)],
});
