/** What a motor controller's manual and a bench measurement tell of it. */
import { z } from 'zod';
import {
  amperes,
  degreesCelsius,
  hertz,
  joulesPerKelvin,
  kelvinPerWatt,
  ohms,
  range,
  ratio,
  type Settled,
  seconds,
  volts,
  window,
} from '../../sim/units/index.ts';
import { wire } from '../wire.ts';

const pulse = (means: string, example: string) => seconds({ above: 0, max: 0.02, means, example });

export const parameters = z.strictObject({
  input: z
    .enum(['pwm', 'receiver'])
    .prefault('pwm')
    .describe("what drives the pulse line: the board's timer, or a radio receiver"),
  pulse: z
    .strictObject({
      neutral: pulse('pulse at which the motor stands', '1500 us'),
      full: pulse('pulse for full drive', '2000 us'),
      reverse: pulse('pulse for full reverse; without it there is no reverse', '1000 us').optional(),
      dead: seconds({
        min: 0,
        max: 0.005,
        means: 'dead band about neutral, as a half-width; the arming window if not given',
        example: '25 us',
      }).optional(),
      valid: range(pulse('widths that are taken as a pulse at all', '700 us'))
        .prefault(['700 us', '2400 us'])
        .describe('shortest and longest width that is taken as a pulse at all'),
      period: range(
        seconds({ above: 0, max: 1, means: 'times from pulse to pulse that are accepted', example: '4 ms' }),
      )
        .prefault(['4 ms', '30 ms'])
        .describe('shortest and longest time from pulse to pulse that it accepts'),
      clock: ratio({ min: -0.5, max: 0.5, means: 'error of its own time measurement', example: '0 % ± 1 %' }).prefault(
        '0 %',
      ),
      resolution: seconds({ min: 0, max: 1e-3, means: 'step in which it measures a pulse', example: '1 us' }).prefault(
        '0 us',
      ),
    })
    .describe('the pulses that it takes, and what they mean'),
  arming: z
    .strictObject({
      window: window('time').prefault('± 30 us'),
      hold: seconds({ min: 0, max: 60, means: 'how long neutral must last', example: '1 s' }).prefault('1 s'),
      refuse: z
        .strictObject({
          then: z
            .enum(['wait', 'lock-out'])
            .prefault('wait')
            .describe('wait for neutral, or stay locked until power is cycled'),
          after: seconds({
            min: 0,
            max: 60,
            means: 'how long a wrong pulse is watched before locking out',
            example: '2 s',
          }).prefault('2 s'),
          blink: z.string().max(60).prefault('steady').describe('blink pattern of the refusal, as its manual names it'),
        })
        .prefault({})
        .describe('what it does with a startup pulse outside the window'),
    })
    .prefault({})
    .describe('what it must see before it drives'),
  boot: seconds({ min: 0, max: 30, means: 'from power to the first look at the line', example: '0.3 s' }).prefault(
    '0.3 s',
  ),
  'least-voltage': volts({ min: 0, max: 100, means: 'supply below which it is off', example: '5 V' }).prefault('5 V'),
  reverse: z
    .enum(['direct', 'brake-first', 'delayed', 'none'])
    .prefault('brake-first')
    .describe('what a backward pulse does'),
  'reverse-delay': seconds({
    min: 0,
    max: 30,
    means: 'how long neutral must last before reverse, for the rule `delayed`',
    example: '0.5 s',
  }).prefault('0.5 s'),
  cutoff: z
    .strictObject({
      warn: volts({ above: 0, max: 200, means: 'supply below which the buzzer sounds', example: '22.2 V' }).optional(),
      limit: volts({
        above: 0,
        max: 200,
        means: 'supply below which the drive is limited',
        example: '21.6 V',
      }).optional(),
      'limit-to': ratio({ min: 0, max: 1, means: 'greatest drive while limited', example: '50 %' }).prefault('50 %'),
      cut: volts({ above: 0, max: 200, means: 'supply below which it cuts off', example: '21 V' }),
      delay: seconds({ min: 0, max: 60, means: 'how long the supply must be below', example: '500 ms' }).prefault(
        '500 ms',
      ),
      release: volts({
        above: 0,
        max: 200,
        means: 'supply above which it may resume; the cut voltage if not given',
        example: '23 V',
      }).optional(),
      latched: z
        .union([z.boolean(), z.literal('power-cycle')])
        .prefault(true)
        .describe(
          'false: resumes by itself; true: needs a neutral pulse; power-cycle: needs to be switched off and on',
        ),
    })
    .optional()
    .describe('how it protects the battery from running too low'),
  'signal-loss': z
    .strictObject({
      after: seconds({ above: 0, max: 30, means: 'how long the pulses may be missing', example: '300 ms' }).prefault(
        '300 ms',
      ),
      then: z
        .enum(['coast', 'brake', 'hold'])
        .prefault('coast')
        .describe('what the motor does then; hold keeps driving'),
      rearm: z.enum(['neutral', 'at-once']).prefault('neutral').describe('what it takes to drive again'),
    })
    .prefault({})
    .describe('what it does when the pulses stop'),
  learning: z
    .strictObject({
      hold: seconds({ above: 0, max: 60, means: 'how long each end point must be held', example: '2 s' }).prefault(
        '2 s',
      ),
    })
    .optional()
    .describe('learns its end points when powered up with the pedal down'),
  power: z
    .strictObject({
      'on-resistance': ohms({
        min: 0,
        max: 10,
        means: 'resistance of the bridge, both switches in the path',
        example: '4 mohm',
      }).prefault('4 mohm'),
      limit: amperes({ min: 0.1, max: 2000, means: 'current limit of the motor current', example: '60 A' }).prefault(
        '100 A',
      ),
      'brake-limit': amperes({ min: 0.1, max: 2000, means: 'limit of the braking current', example: '60 A' }).prefault(
        '100 A',
      ),
      frequency: hertz({ above: 0, max: 1e6, means: 'drive frequency', example: '16 kHz' }).prefault('16 kHz'),
      'switching-time': seconds({
        min: 0,
        max: 1e-4,
        means: 'time of one switching on and off, for its loss',
        example: '300 ns',
      }).prefault('300 ns'),
      idle: amperes({ min: 0, max: 10, means: 'what its own electronics take', example: '30 mA' }).prefault('30 mA'),
      freewheel: z
        .enum(['synchronous', 'diode'])
        .prefault('synchronous')
        .describe('synchronous bridges also brake when the pulse falls; with diodes the motor coasts down'),
      braking: z
        .enum(['regenerative', 'dynamic'])
        .prefault('regenerative')
        .describe('braking current goes back to the battery, or is burnt'),
      lead: z.strictObject(wire).prefault({ length: '0 m' }).describe('its supply lead from the splitter'),
      thermal: z
        .strictObject({
          resistance: kelvinPerWatt({
            above: 0,
            max: 1000,
            means: 'from its switches to the air',
            example: '2 K/W',
          }).prefault('2 K/W'),
          capacity: joulesPerKelvin({
            above: 0,
            max: 1e6,
            means: 'heat that warms it by a kelvin',
            example: '60 J/K',
          }).prefault('60 J/K'),
          derate: degreesCelsius({
            min: 0,
            max: 300,
            means: 'temperature from which the current limit falls',
            example: '85 degC',
          }).prefault('85 degC'),
          trip: degreesCelsius({
            min: 0,
            max: 300,
            means: 'temperature at which it switches off until it is below derate',
            example: '110 degC',
          }).prefault('110 degC'),
          ambient: degreesCelsius({
            min: -50,
            max: 120,
            means: 'temperature of the air about it',
            example: '25 degC',
          }).prefault('25 degC'),
        })
        .prefault({})
        .describe('how warm its bridge gets, and when it protects itself'),
    })
    .prefault({})
    .describe('the power stage'),
});

export type Parameters = Settled<z.output<typeof parameters>>;
