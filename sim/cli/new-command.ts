/** `jackstand new` on the command line: each answer is a flag of its own. */
import type { Command } from 'commander';
import { type AnswerName, FLAGS } from './new/flags.ts';
import type { Streams } from './streams.ts';

export function addNewCommand(program: Command, streams: Streams, done: (status: number) => void): void {
  const command = program
    .command('new')
    .description('ask for what a multimeter, data sheets and labels tell, and write a bench with its first scenarios')
    .argument('[folder]', 'where the files are written; nothing there is overwritten', 'scenarios')
    .option('--usual', 'ask nothing; take the usual value of all that no flag says')
    .option('--tuned', 'where the constants given do not arm, take the best that jackstand tune finds');
  for (const [name, means] of Object.entries(FLAGS)) command.option(`--${name} <answer>`, means);
  command.action(async (folder: string, options: Readonly<Record<string, string | boolean>>) => {
    const { createBench } = await import('./new/new.ts');
    const isAttended = process.stdin.isTTY === true && streams.columns !== undefined;
    const given = (name: string): string | boolean | undefined =>
      options[name.replace(/-(\w)/g, (_, letter: string) => letter.toUpperCase())];
    const flags = Object.fromEntries(
      (Object.keys(FLAGS) as AnswerName[]).flatMap((name) => {
        const value = given(name);
        return typeof value === 'string' ? [[name, value]] : [];
      }),
    );
    const terminal = async () => {
      const { isLeaving, terminalAsker } = await import('./new/ask.ts');
      return { asker: terminalAsker(streams), isLeaving };
    };
    done(
      await createBench(
        folder,
        { flags, usual: options.usual === true, tuned: options.tuned === true },
        streams,
        isAttended ? terminal : undefined,
      ),
    );
  });
}
