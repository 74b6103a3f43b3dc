#!/usr/bin/env bash
# A campaign in shares under GNU parallel, on this machine or (with parallel's --sshlogin) on several:
#     with-parallel.sh SHARES FOLDER spread cold-start.yaml --draws 20000
# Each share writes what it found into FOLDER; a second call goes on where the first was broken off. What is printed in the
# end is, to the byte, what the campaign in one piece prints. JACKSTAND names the program where it is not on the path.
set -euo pipefail
shares=$1 folder=$2
shift 2
read -ra jackstand <<<"${JACKSTAND:-jackstand}"

mkdir -p "$folder"
seq "$shares" | parallel -q --halt now,fail=1 \
  "${jackstand[@]}" "$@" --workers 1 --shard "{}/$shares" --part "$folder/{}-of-$shares.json"
"${jackstand[@]}" merge "$folder"/*-of-"$shares".json
