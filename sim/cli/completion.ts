/**
 * `jackstand completion`: what completes commands, options, choices and file names in a shell, made from the commands
 * themselves. The scripts stand alone: they do not start the program at each press of a key.
 */
import type { Argument, Command, Option } from 'commander';
import { Exit } from './exit.ts';
import type { Streams } from './streams.ts';

type Taken =
  | { readonly kind: 'nothing' | 'file' | 'value' }
  | { readonly kind: 'choice'; readonly choices: readonly string[] };

interface Flag {
  readonly long: string;
  readonly short: string | undefined;
  readonly says: string;
  readonly takes: Taken;
}

interface Completed {
  readonly name: string;
  readonly says: string;
  readonly flags: readonly Flag[];
  readonly takes: Taken;
}

export function completion(shell: string, program: Command, streams: Streams): number {
  const commands = commandsOf(program);
  const scripts: Readonly<Record<string, (of: readonly Completed[]) => string>> = {
    bash: bashScript,
    zsh: zshScript,
    fish: fishScript,
  };
  streams.out(scripts[shell]!(commands));
  return Exit.holds;
}

/** The program itself first, under an empty name. */
function commandsOf(program: Command): Completed[] {
  const names = program.commands.map((command) => command.name());
  const own: Completed = {
    name: '',
    says: '',
    flags: flagsOf(program),
    takes: { kind: 'choice', choices: [...names, 'help'] },
  };
  const help: Completed = {
    name: 'help',
    says: 'print the help of a command',
    flags: [],
    takes: { kind: 'choice', choices: names },
  };
  const others = program.commands.map((command) => ({
    name: command.name(),
    says: firstLine(command.description()),
    flags: flagsOf(command),
    takes: takenBy(command.registeredArguments[0]),
  }));
  return [own, ...others, help];
}

function flagsOf(command: Command): Flag[] {
  return command
    .createHelp()
    .visibleOptions(command)
    .flatMap((option) =>
      option.long == null
        ? []
        : [
            {
              long: option.long,
              short: option.short ?? undefined,
              says: firstLine(option.description),
              takes: takenBy(option),
            },
          ],
    );
}

function takenBy(of: Option | Argument | undefined): Taken {
  if (of === undefined) return { kind: 'nothing' };
  if (of.argChoices !== undefined) return { kind: 'choice', choices: of.argChoices };
  const name = 'flags' in of ? (/<(\w+)/.exec(of.flags)?.[1] ?? '') : of.name();
  if (name === '') return { kind: 'nothing' };
  return { kind: /^(files?|paths?|folder|bench|capture|scenarios?)$/.test(name) ? 'file' : 'value' };
}

function firstLine(text: string): string {
  return text.split('\n')[0]!;
}

function quoted(text: string): string {
  return `'${text.replaceAll("'", "'\\''")}'`;
}

function bashScript(commands: readonly Completed[]): string {
  const afterFlags = commands.flatMap(({ name, flags }) =>
    flags.flatMap(({ long, short, takes }) => {
      if (takes.kind === 'nothing') return [];
      const patterns = [long, ...(short === undefined ? [] : [short])].map((flag) => quoted(`${name} ${flag}`));
      return [`    ${patterns.join('|')}) ${bashWords(takes)}; return ;;`];
    }),
  );
  const inCommands = commands.map(({ name, flags, takes }) => {
    const words = flags.flatMap(({ long, short }) => (short === undefined ? [long] : [long, short])).join(' ');
    return `    ${quoted(name)}) if [[ $current == -* ]]; then _jackstand_words ${quoted(words)}; else ${bashWords(takes)}; fi ;;`;
  });
  return `# bash completion of jackstand, to be sourced in ~/.bashrc
_jackstand_words() { mapfile -t COMPREPLY < <(compgen -W "$1" -- "$current"); }
_jackstand_files() {
  compopt -o filenames 2>/dev/null
  mapfile -t COMPREPLY < <(compgen -f -- "$current")
}
_jackstand() {
  local current=\${COMP_WORDS[COMP_CWORD]} previous=\${COMP_WORDS[COMP_CWORD - 1]} command='' index
  # --format=json comes as three words.
  if [[ $current == '=' ]]; then
    current=''
  elif [[ $previous == '=' ]]; then
    previous=\${COMP_WORDS[COMP_CWORD - 2]}
  fi
  for ((index = 1; index < COMP_CWORD; index++)); do
    if [[ \${COMP_WORDS[index]} != -* ]]; then command=\${COMP_WORDS[index]}; break; fi
  done
  COMPREPLY=()
  case "$command $previous" in
${afterFlags.join('\n')}
  esac
  case "$command" in
${inCommands.join('\n')}
  esac
}
complete -F _jackstand jackstand
`;
}

function bashWords(takes: Taken): string {
  if (takes.kind === 'choice') return `_jackstand_words ${quoted(takes.choices.join(' '))}`;
  return takes.kind === 'file' ? '_jackstand_files' : ':';
}

function zshScript(commands: readonly Completed[]): string {
  const [own, ...others] = commands;
  const list = others.map(({ name, says }) => `    ${quoted(`${name}:${says.replaceAll(':', '\\:')}`)}`);
  const cases = others.map(
    ({ name, flags, takes }) =>
      `    ${name}) _arguments -s ${[...flags.flatMap(zshFlag), ...zshRest(takes)].join(' ')} ;;`,
  );
  return `#compdef jackstand
# zsh completion of jackstand: put it as _jackstand into a folder of $fpath
_jackstand() {
  local -a commands
  commands=(
${list.join('\n')}
  )
  if (( CURRENT == 2 )); then
    if [[ $PREFIX == -* ]]; then
      _arguments ${own!.flags.flatMap(zshFlag).join(' ')}
    else
      _describe -t commands command commands
    fi
    return
  fi
  local command=$words[2]
  shift words
  (( CURRENT-- ))
  case $command in
${cases.join('\n')}
  esac
}
if [[ $funcstack[1] == _jackstand ]]; then _jackstand "$@"; else compdef _jackstand jackstand; fi
`;
}

function zshFlag({ long, short, says, takes }: Flag): string[] {
  const plain = says.replaceAll(/[[\]:\\]/g, (character) => `\\${character}`);
  const after = takes.kind === 'nothing' ? '' : `:${long.slice(2)}:${zshWords(takes)}`;
  return [long, ...(short === undefined ? [] : [short])].map((flag) => quoted(`${flag}[${plain}]${after}`));
}

function zshRest(takes: Taken): string[] {
  return takes.kind === 'nothing' ? [] : [quoted(`*:argument:${zshWords(takes)}`)];
}

function zshWords(takes: Taken): string {
  return takes.kind === 'choice' ? `(${takes.choices.join(' ')})` : takes.kind === 'file' ? '_files' : ' ';
}

function fishScript(commands: readonly Completed[]): string {
  const [own, ...others] = commands;
  const line = (parts: readonly string[]): string => `complete -c jackstand ${parts.join(' ')}`;
  const flagLine = (condition: string, { long, short, says, takes }: Flag): string =>
    line([
      ...['-n', quoted(condition), '-l', long.slice(2)],
      ...(short === undefined ? [] : ['-s', short.slice(1)]),
      ...(takes.kind === 'nothing' ? [] : takes.kind === 'file' ? ['-r', '-F'] : ['-x']),
      ...(takes.kind === 'choice' ? ['-a', quoted(takes.choices.join(' '))] : []),
      ...['-d', quoted(says)],
    ]);
  const seen = (name: string): string => `__fish_seen_subcommand_from ${name}`;
  return `${[
    '# fish completion of jackstand: jackstand completion fish > ~/.config/fish/completions/jackstand.fish',
    line(['-f']),
    ...own!.flags.map((flag) => flagLine('__fish_use_subcommand', flag)),
    ...others.map(({ name, says }) => line(['-n', '__fish_use_subcommand', '-a', name, '-d', quoted(says)])),
    ...others.flatMap(({ name, flags, takes }) => [
      ...(takes.kind === 'file' ? [line(['-n', quoted(seen(name)), '-F'])] : []),
      ...(takes.kind === 'choice' ? [line(['-n', quoted(seen(name)), '-a', quoted(takes.choices.join(' '))])] : []),
      ...flags.map((flag) => flagLine(seen(name), flag)),
    ]),
  ].join('\n')}\n`;
}
