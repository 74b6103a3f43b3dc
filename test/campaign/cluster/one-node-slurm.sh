#!/usr/bin/env bash
# Runs a command inside a Slurm of one node, all of whose daemons are started for it and ended with it:
#     one-node-slurm.sh FOLDER COMMAND...
# Everything of it lies in FOLDER, an empty one. Needs root and Debian's munge, slurmctld, slurmd and slurm-client.
set -euo pipefail
folder=$1
shift
port=${SLURM_TEST_PORT:-$((20000 + $$ % 20000))}
host=$(hostname -s)
started=()
finish() {
  for process in "${started[@]}"; do kill "$process" 2>/dev/null || true; done
  for process in "${started[@]}"; do wait "$process" 2>/dev/null || true; done
}
trap finish EXIT

mkdir -p "$folder"/{munge,state,spool}
chown munge: "$folder/munge"
chmod 711 "$folder" "$folder/munge"
dd if=/dev/urandom of="$folder/munge/key" bs=1 count=128 status=none
chown munge: "$folder/munge/key"
chmod 400 "$folder/munge/key"
runuser -u munge -- munged --foreground --key-file="$folder/munge/key" --socket="$folder/munge/socket" \
  --pid-file="$folder/munge/pid" --log-file="$folder/munge/log" --seed-file="$folder/munge/seed" >"$folder/munged.out" 2>&1 &
started+=($!)

cat >"$folder/slurm.conf" <<CONF
ClusterName=bench
SlurmctldHost=$host(127.0.0.1)
SlurmctldPort=$port
SlurmdPort=$((port + 1))
SlurmUser=root
AuthType=auth/munge
AuthInfo=socket=$folder/munge/socket
CredType=cred/munge
CryptoType=crypto/munge
StateSaveLocation=$folder/state
SlurmdSpoolDir=$folder/spool
SlurmctldPidFile=$folder/slurmctld.pid
SlurmdPidFile=$folder/slurmd.pid
SlurmctldLogFile=$folder/slurmctld.log
SlurmdLogFile=$folder/slurmd.log
ProctrackType=proctrack/pgid
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
MpiDefault=none
ReturnToService=2
SchedulerParameters=batch_sched_delay=0,sched_interval=1
NodeName=$host NodeAddr=127.0.0.1 CPUs=$(nproc) State=UNKNOWN
PartitionName=bench Nodes=$host Default=YES MaxTime=10 State=UP
CONF
export SLURM_CONF="$folder/slurm.conf"
for ((try = 0; try < 50; try += 1)); do
  if munge --no-input --socket="$folder/munge/socket" >/dev/null 2>&1; then break; fi
  sleep 0.1
done
if [ "$try" -eq 50 ]; then
  echo "munge: it does not answer; can its user get into $folder?" >&2
  cat "$folder/munged.out" >&2
  exit 70
fi
slurmctld -D >"$folder/slurmctld.out" 2>&1 &
started+=($!)
slurmd -D -N "$host" >"$folder/slurmd.out" 2>&1 &
started+=($!)
for ((try = 0; try < 150; try += 1)); do
  if [ "$(sinfo --noheader --format=%T 2>/dev/null)" = idle ]; then break; fi
  sleep 0.2
done
if [ "$(sinfo --noheader --format=%T 2>/dev/null)" != idle ]; then
  echo "slurm: the node does not come up" >&2
  tail -n 20 "$folder"/*.log "$folder"/*.out >&2
  exit 70
fi
"$@"
