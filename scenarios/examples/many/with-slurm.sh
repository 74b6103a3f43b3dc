#!/usr/bin/env bash
# A campaign as a Slurm array, each share a task of its own:
#     with-slurm.sh SHARES FOLDER spread cold-start.yaml --draws 20000
# FOLDER must be one that all nodes see. What is printed in the end is, to the byte, what the campaign in one piece prints.
# JACKSTAND names the program where it is not on the path; options for sbatch come from its own variables (SBATCH_...).
set -euo pipefail
shares=$1 folder=$2
shift 2
read -ra jackstand <<<"${JACKSTAND:-jackstand}"

mkdir -p "$folder"
# `--shard env` reads the task's own number and the size of the array from what Slurm sets.
printf -v command '%q ' exec "${jackstand[@]}" "$@" --workers 1 --shard env
sbatch --wait --parsable --array="1-$shares" --ntasks=1 --cpus-per-task=1 \
  --job-name=jackstand --output="$folder/%a.log" >&2 <<JOB
#!/usr/bin/env bash
$command --part $(printf '%q' "$folder")/\$SLURM_ARRAY_TASK_ID-of-$shares.json
JOB
"${jackstand[@]}" merge "$folder"/*-of-"$shares".json
