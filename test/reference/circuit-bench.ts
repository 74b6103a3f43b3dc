/**
 * A power bench drawn at random, built twice: from the real parts, and as an equivalent circuit for a circuit simulator.
 *
 * Mechanics are capacitors: a speed is a voltage, a torque or force a current, an inertia a capacitance. The bridge is
 * averaged in both, so that only the parts of the power side and their joint integration are compared.
 */
import { battery } from '../../models/battery.ts';
import { controller } from '../../models/controller/controller.ts';
import { harness } from '../../models/harness.ts';
import { motor } from '../../models/motor.ts';
import { vehicle } from '../../models/vehicle.ts';
import { type Doing, type RigParts, rig, train } from '../models/rig.ts';

export interface CircuitBench {
  readonly cells: number;
  readonly cellVolts: readonly [empty: number, full: number];
  readonly capacityAmpereHours: number;
  readonly charge: number;
  readonly batteryOhms: number;
  readonly timesEmpty: number;
  readonly batteryCelsius: number;
  readonly polarisationOhms: number;
  readonly recoverySeconds: number;
  readonly peukert: number;
  readonly lengthMetres: number;
  readonly areaSquareMillimetres: number;
  readonly wireCelsius: number;
  readonly connectorOhms: number;
  readonly drives: readonly [Drive, Drive];
  readonly vehicle: Ground | undefined;
}

interface Drive {
  readonly leadMetres: number;
  readonly onOhms: number;
  readonly idleAmps: number;
  readonly switchingSeconds: number;
  readonly ohms: number;
  readonly henries: number;
  readonly constant: number;
  readonly inertia: number;
  readonly friction: number;
  readonly viscous: number;
  readonly gear: number;
  readonly celsius: number;
  /** Pulse widths in seconds, one a frame from the start of driving on. */
  readonly pulses: readonly number[];
}

interface Ground {
  readonly kilograms: number;
  readonly wheelMetres: number;
  readonly rolling: number;
  readonly dragSquareMetres: number;
  readonly grade: number;
}

export const FRAME_SECONDS = 0.02;
export const DRIVE_FROM_SECONDS = 0.5;
const NAMES = ['left', 'right'] as const;
/** The switching frequency of all bridges here. */
const HERTZ = 16_000;

const number = (value: number, unit: string): string => `${value} ${unit}`;

/** The bench of real parts, its pulse lines fed frame by frame. */
export function realRun(bench: CircuitBench, seconds: number) {
  const parts: Record<string, RigParts[string]> = {
    battery: [
      battery,
      {
        chemistry: 'lithium-ion',
        cells: bench.cells,
        curve: [
          ['0 %', number(bench.cellVolts[0], 'V')],
          ['100 %', number(bench.cellVolts[1], 'V')],
        ],
        capacity: number(bench.capacityAmpereHours, 'Ah'),
        charge: number(bench.charge * 100, '%'),
        resistance: number(bench.batteryOhms, 'ohm'),
        'resistance-empty': bench.timesEmpty,
        temperature: number(bench.batteryCelsius, 'degC'),
        polarisation: number(bench.polarisationOhms, 'ohm'),
        recovery: number(bench.recoverySeconds, 's'),
        peukert: bench.peukert,
      },
    ],
    harness: [
      harness,
      {
        main: {
          length: number(bench.lengthMetres, 'm'),
          area: number(bench.areaSquareMillimetres, 'mm2'),
          temperature: number(bench.wireCelsius, 'degC'),
          connectors: number(bench.connectorOhms, 'ohm'),
        },
      },
    ],
  };
  const script: Doing[] = [{ at: 0, say: 'battery', form: 'connect' }];
  if (bench.vehicle !== undefined)
    parts.vehicle = [
      vehicle,
      {
        mass: number(bench.vehicle.kilograms, 'kg'),
        wheel: number(bench.vehicle.wheelMetres, 'm'),
        rolling: bench.vehicle.rolling,
        drag: number(bench.vehicle.dragSquareMetres, 'm2'),
        grade: number(bench.vehicle.grade * 100, '%'),
        grip: 2,
        'driven-share': '100 %',
        on: 'ground',
      },
    ];
  bench.drives.forEach((drive, index) => {
    const name = NAMES[index]!;
    parts[name] = [
      controller,
      {
        pulse: { neutral: '1000 us', full: '2000 us', dead: '1 us' },
        arming: { window: '± 1 us', hold: '0.1 s' },
        boot: '0 s',
        power: {
          limit: '2000 A',
          'brake-limit': '2000 A',
          'on-resistance': number(drive.onOhms, 'ohm'),
          idle: number(drive.idleAmps, 'A'),
          frequency: number(HERTZ, 'Hz'),
          'switching-time': number(drive.switchingSeconds, 's'),
          lead: { length: number(drive.leadMetres, 'm'), area: '6 mm2' },
          thermal: { capacity: '1000 kJ/K' },
        },
      },
    ];
    parts[`motors.${name}`] = [
      motor,
      {
        resistance: number(drive.ohms, 'ohm'),
        inductance: number(drive.henries, 'H'),
        constant: number(drive.constant, 'V.s/rad'),
        inertia: number(drive.inertia, 'kg.m2'),
        friction: number(drive.friction, 'N.m'),
        viscous: number(drive.viscous, 'N.m.s/rad'),
        gear: drive.gear,
        thermal: { capacity: '1000 kJ/K', ambient: number(drive.celsius, 'degC') },
      },
    ];
    // Both lines are one signal of the timer, so that the two controllers are fed by one generator.
    if (index > 0) return;
    script.push(...train(`${name}.line`, 0.02, DRIVE_FROM_SECONDS, 0.001, FRAME_SECONDS));
    drive.pulses.forEach((width, frame) => {
      const from = DRIVE_FROM_SECONDS + frame * FRAME_SECONDS;
      if (from + FRAME_SECONDS < seconds)
        script.push(...train(`${name}.line`, from, from + FRAME_SECONDS, width, FRAME_SECONDS));
    });
  });
  return rig(parts, script, seconds);
}

/** Names of the vectors that the circuit writes, in order, beside the signals that they are compared with. */
export const COMPARED = [
  ['i(vb)', 'battery.current'],
  ['v(term)', 'battery.voltage'],
  ['v(split)', 'harness.voltage'],
  ['v(s0)', 'left.supply'],
  ['i(vm0)', 'motors.left.current'],
  ['i(vm1)', 'motors.right.current'],
  ['v(w0)', 'motors.left.speed'],
  ['v(w1)', 'motors.right.speed'],
] as const;

/** The same bench as a circuit; `drive` is the drive that the controllers gave, as [seconds, drive]. */
export function netlist(
  bench: CircuitBench,
  drive: readonly (readonly [number, number])[],
  seconds: number,
  outFile: string,
): string {
  // Resistivity 1/58 ohm mm2/m at 20 degC, 0.393 % a kelvin: IACS (IEC 1913), written out here once more.
  const cable = (metres: number, mm2: number, celsius: number): number =>
    ((2 * metres) / 58 / mm2) * (1 + 0.00393 * (celsius - 20));
  const capacity = bench.capacityAmpereHours * 3600;
  const rated = bench.capacityAmpereHours / 20;
  const [empty, full] = bench.cellVolts;
  const heat = Math.max(0.5, 1 + 0.01 * (25 - bench.batteryCelsius));
  const lines = [
    'power side of a bench',
    `Bsoc 0 soc I = -I(Vb) * (max(I(Vb)/${rated}, 1))^(${bench.peukert - 1}) / ${capacity}`,
    `Csoc soc 0 1 IC=${bench.charge}`,
    'Rsoc soc 0 1e12',
    `Boc oc 0 V = ${bench.cells}*(${empty}+(${full}-${empty})*V(soc)) - ${bench.batteryOhms * heat}*(1+(${bench.timesEmpty}-1)*(1-V(soc)))*I(Vb)`,
    `Rp oc b ${bench.polarisationOhms}`,
    `Cp oc b ${bench.recoverySeconds / bench.polarisationOhms} IC=0`,
    'Vb b term 0',
    `Rh term split ${cable(bench.lengthMetres, bench.areaSquareMillimetres, bench.wireCelsius) + bench.connectorOhms}`,
    `Vd d 0 PWL(0 0 ${drive.map(([at, value]) => `${at} ${value}`).join(' ')})`,
  ];
  bench.drives.forEach((one, index) => {
    const i = `I(Vm${index})`;
    lines.push(
      `Rl${index} split s${index} ${Math.max(1e-7, cable(one.leadMetres, 6, 20))}`,
      `Bs${index} s${index} 0 I = V(d)*${i} + ${0.5 * one.switchingSeconds * HERTZ}*abs(${i}) + ${one.idleAmps}`,
      `Bu${index} u${index} 0 V = V(d)*V(s${index}) - ${one.onOhms}*${i}`,
      `Vm${index} u${index} m${index} 0`,
      `Rm${index} m${index} n${index} ${one.ohms * (1 + 0.00393 * (one.celsius - 20))}`,
      `Lm${index} n${index} e${index} ${one.henries} IC=0`,
      `Be${index} e${index} 0 V = ${one.constant}*V(w${index})`,
    );
    const torque = `${one.constant}*${i} - ${one.viscous}*V(w${index}) - ${one.friction}*tanh(V(w${index})/0.1)`;
    if (bench.vehicle === undefined)
      lines.push(
        `Bt${index} 0 w${index} I = ${torque}`,
        `Cw${index} w${index} 0 ${one.inertia} IC=0`,
        `Rw${index} w${index} 0 1e12`,
      );
    else {
      const ratio = one.gear / bench.vehicle.wheelMetres;
      lines.push(`Bw${index} w${index} 0 V = ${ratio}*V(v)`, `Bt${index} 0 v I = (${torque})*${ratio}`);
    }
  });
  const { vehicle: ground } = bench;
  if (ground !== undefined) {
    const turning = bench.drives.reduce((sum, one) => sum + one.inertia * (one.gear / ground.wheelMetres) ** 2, 0);
    const slope = Math.atan(ground.grade);
    const weight = ground.kilograms * 9.80665;
    lines.push(
      `Bv v 0 I = (${weight * Math.cos(slope) * ground.rolling} + ${0.5 * 1.225 * ground.dragSquareMetres}*V(v)*V(v))*tanh(V(v)/1e-3) + ${weight * Math.sin(slope)}`,
      `Cv v 0 ${ground.kilograms + turning} IC=0`,
      'Rv v 0 1e12',
    );
  }
  lines.push(
    '.options reltol=1e-5 abstol=1e-6 vntol=1e-6 itl4=100 method=gear',
    '.control',
    'set wr_singlescale',
    'set wr_vecnames',
    'option numdgt=9',
    `tran 0.1m ${seconds} 0 0.1m uic`,
    `wrdata ${outFile} ${COMPARED.map(([vector]) => vector).join(' ')}`,
    'quit',
    '.endc',
    '.end',
  );
  return `${lines.join('\n')}\n`;
}
