#!/usr/bin/env bash
# Times `kickplate review FOLDER` on one core and on two, in turn, and prints each pair
# with its ratio. Copies of the demo's clips are the folder.
#
#   tools/bench/review_cores.sh PROGRAM [PAIRS] [COPIES]
#
# PROGRAM is the built kickplate. Needs taskset (util-linux). Nothing else should run on
# the machine; where it does, the ratio says less than it seems.
set -euo pipefail

program=$(readlink -f "$1")
pairs=${2:-3}
copies=${3:-2}
root=$(cd "$(dirname "$(readlink -f "${BASH_SOURCE[0]}")")/../.." && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
export KICKPLATE_HOME=$root
mkdir "$work/folder"
for copy in $(seq "$copies"); do
    for file in "$root"/demo/*; do cp "$file" "$work/folder/$copy-${file##*/}"; done
done

run() { # CORES: prints seconds
    rm -rf "$work/out"
    local since
    since=$(date +%s.%N)
    taskset -c "$1" "$program" review "$work/folder" --lane "$root/config/lane-side.toml" \
        --age-group adult --out "$work/out" >"$work/log" 2>&1 || { cat "$work/log" >&2; exit 1; }
    echo "$(date +%s.%N) $since" | awk '{printf "%.2f", $1 - $2}'
}

run 0,1 >/dev/null # files and libraries are read once
for pair in $(seq "$pairs"); do
    one=$(run 0)
    two=$(run 0,1)
    echo "$pair $one $two" | awk '{printf "pair %d: one core %.2f s, two cores %.2f s, ratio %.2f\n", $1, $2, $3, $2 / $3}'
done
