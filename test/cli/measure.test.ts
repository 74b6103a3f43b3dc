/** `jackstand measure`: captures with numbers that are known beforehand come back with them. */
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { readCapture } from '../../sim/capture/read-capture.ts';
import { measureChannel } from '../../sim/trace/measure-capture.ts';
import { Column } from '../../sim/trace/trace.ts';
import { vcdOf } from '../../sim/trace/vcd.ts';
import { call } from './capture.ts';

const folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
function measured(text: string) {
  const capture = readCapture(text);
  if ('says' in capture) throw new Error(capture.says);
  return capture.channels.map((channel) => measureChannel(channel, capture.isTimed));
}

/** Levels of pulses of 1500 us every 20 ms, without the frames named. */
function edges(count: number, missing: readonly number[], scale: number): string[] {
  return Array.from({ length: count }, (_, frame) => frame)
    .filter((frame) => !missing.includes(frame))
    .flatMap((frame) => [`${frame * 0.02 * scale},1`, `${(frame * 0.02 + 0.0015) * scale},0`]);
}

describe('measure: pulses', () => {
  test.each([
    ['seconds', 'Time [s],Channel 0', 1],
    ['milliseconds', 'time (ms),D0', 1e3],
    ['microseconds', 't_us,D0', 1e6],
  ])('a logic analyser in %s: width, period, and two dropped frames', (_, header, scale) => {
    const [channel] = measured([header, ...edges(50, [20, 21], scale)].join('\r\n'));
    if (channel?.kind !== 'pulses') throw new Error('no pulses');
    expect(channel.train.widthSeconds!.mean).toBeCloseTo(1.5e-3, 9);
    expect(channel.train.periodSeconds!.mean).toBeCloseTo(0.02, 9);
    expect(channel.droppedCount).toBe(2);
    expect(channel.longestGapSeconds).toBeCloseTo(0.06, 9);
  });

  test('an oscilloscope: edges lie where the voltage crosses the middle, not at the samples', () => {
    // 0 to 3.3 V in 40 us, sampled each 10 us from 3 us on: the middle is crossed 20 us after each edge begins.
    const rise = (since: number): number => Math.min(1, Math.max(0, since / 40e-6));
    const lines = Array.from({ length: 10_000 }, (_, index) => {
      const seconds = 3e-6 + index * 1e-5;
      const inFrame = seconds % 0.02;
      return `${seconds.toFixed(6)};${(3.3 * (rise(inFrame - 1e-3) - rise(inFrame - 2.5e-3))).toFixed(4).replace('.', ',')}`;
    });
    const [channel] = measured(['Model;X1', 'Time (s);CH1 (V)', ...lines].join('\n'));
    if (channel?.kind !== 'pulses') throw new Error('no pulses');
    expect(channel.train.widthSeconds!.mean).toBeCloseTo(1.5e-3, 7);
    expect(channel.droppedCount).toBe(0);
  });

  test('a VCD is read back, with its scope: 47 ticks of 32 us each 256 ticks (8 MHz / 256, compare 46)', () => {
    const level = new Column({ name: 'pwm.level', dimension: 'count', shape: 'held', means: '' });
    for (let frame = 0; frame < 40; frame += 1) {
      level.append((frame * 256 * 32) / 1e6, 1);
      level.append(((frame * 256 + 47) * 32) / 1e6, 0);
    }
    const text = [...vcdOf([level], { version: 'x', endSeconds: 1 })].join('');
    const capture = readCapture(text);
    expect(capture).toMatchObject({ channels: [{ name: expect.stringMatching(/pwm\.level$/) }] });
    const [channel] = measured(text);
    if (channel?.kind !== 'pulses') throw new Error('no pulses');
    expect(channel.train.widthSeconds!.min).toBeCloseTo(1504e-6, 9);
    expect(channel.train.widthSeconds!.max).toBeCloseTo(1504e-6, 9);
    expect(channel.train.periodSeconds!.mean).toBeCloseTo(8192e-6, 9);
  });

  test('the command says so in words', async () => {
    const file = join(folder, 'receiver.csv');
    writeFileSync(file, ['Time [s],D0', ...edges(50, [7], 1)].join('\n'));
    const { status, out } = await call(['measure', file]);
    expect(status).toBe(0);
    // 50 frames, one missing; of the first it is not seen when it rose.
    expect(out).toContain('D0: pulses\n  width    48 seen: mean 1500 us');
    expect(out).toContain('dropped  1 frame; longest gap 40 ms');
  });
});

describe('measure: pedal', () => {
  test('counts of a serial log: rest, full, and noise of one count in two', () => {
    const rest = Array.from({ length: 200 }, (_, index) => 186 + (index % 2));
    const ramp = Array.from({ length: 60 }, (_, index) => 190 + index * 10);
    const full = Array.from({ length: 200 }, () => 836);
    const [channel] = measured(['boot', ...rest, ...ramp, ...full].join('\n'));
    if (channel?.kind !== 'level') throw new Error('no level');
    expect(Math.round(channel.full!.mean)).toBeGreaterThan(830);
    expect(channel.rest.min).toBe(186);
    // Neighbours differ by 1: sqrt(1 / 2).
    expect(channel.noise).toBeGreaterThan(0.7);
    expect(channel.noise).toBeLessThan(1.5);
  });

  test('volts that never move are a rest without a full', () => {
    const lines = Array.from({ length: 100 }, (_, index) => `${index / 1000},${0.91 + ((index * 7) % 5) / 1000}`);
    const [channel] = measured(['time,volts', ...lines].join('\n'));
    expect(channel).toMatchObject({ kind: 'level', full: undefined });
  });
});

describe('measure: what is no capture', () => {
  test.each([
    ['', 'no line of it holds only numbers'],
    ['hello\nworld', 'no line of it holds only numbers'],
    ['time,a\n2,1\n1,0', 'its times go back'],
    ['$date $end', 'it has no $timescale'],
    ['$timescale 1 us $end $enddefinitions $end #0', 'no signal in it ever has a value'],
  ])('%j: %s', async (text, says) => {
    const file = join(folder, 'bad.csv');
    writeFileSync(file, text);
    const { status, out, err } = await call(['measure', file]);
    expect({ status, out }).toEqual({ status: 2, out: '' });
    expect(err).toContain(says);
  });
});
