/** A bench that arms in a fraction of a second, for campaigns of many runs: its clock decides whether it does. */
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

/** A new folder with `bench.yaml` and the scenario `arms.yaml`. */
export function folderThatArms(): string {
  const folder = mkdtempSync(join(tmpdir(), 'jackstand-many-'));
  writeFileSync(
    join(folder, 'bench.yaml'),
    `bench: b
board: { clock: 8 MHz ± 2 %, pwm: { prescaler: 256 }, firmware: { kind: mapping, input: [186, 828], output: [46, 62] } }
controllers: { left: { pulse: { neutral: 1500 us, full: 2000 us }, arming: { window: ± 20 us, hold: 100 ms }, boot: 0.1 s } }
`,
  );
  writeFileSync(
    join(folder, 'arms.yaml'),
    `scenario: arms
bench: bench.yaml
duration: 0.4 s
steps: [{ at: 0 s, battery: connect }]
expect: [{ that: left.mode is armed, within: 0.4 s }]
`,
  );
  return folder;
}
