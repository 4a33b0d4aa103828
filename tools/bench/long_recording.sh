#!/usr/bin/env bash
# Times `kickplate review` of one long recording on one core and on two workers, and
# MediaPipe in Python on the same two cores, in turn; prints each round with its ratios.
#
#   tools/bench/long_recording.sh PROGRAM PYTHON CLIP [ROUNDS] [BEFORE]
#
# PROGRAM is the built kickplate, PYTHON the one with mediapipe (see mediapipe_clip.py),
# CLIP what long_clip.py has made, BEFORE an older kickplate to be timed in the same rounds.
# Needs taskset (util-linux). Nothing else should run on the machine; where it does, the
# ratios say less than they seem.
set -euo pipefail

program=$(readlink -f "$1")
python=$2
clip=$(readlink -f "$3")
rounds=${4:-3}
before=${5:-}
root=$(cd "$(dirname "$(readlink -f "${BASH_SOURCE[0]}")")/../.." && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
export KICKPLATE_HOME=$root

timed() { # COMMAND...: prints seconds
    local since
    since=$(date +%s.%N)
    "$@" >"$work/log" 2>&1 || { cat "$work/log" >&2; exit 1; }
    echo "$(date +%s.%N) $since" | awk '{printf "%.2f", $1 - $2}'
}

review() { # CORES PROGRAM
    rm -rf "$work/out"
    timed taskset -c "$1" "$2" review "$clip" --lane "$root/demo/side-good.toml" \
        --age-group adult --out "$work/out"
    cp "$work/out/session.json" "$work/session-$1.json"
}

for round in $(seq "$rounds"); do
    python_s=$(timed taskset -c 0,1 "$python" "$root/tools/bench/mediapipe_clip.py" "$clip")
    two=$(review 0,1 "$program")
    one=$(review 0 "$program")
    cmp "$work/session-0.json" "$work/session-0,1.json"
    older=
    [ -z "$before" ] || older=", before $(review 0,1 "$before") s"
    echo "$round $python_s $one $two" | awk -v older="$older" '{printf "round %d: python %.2f s, one core %.2f s, two workers %.2f s%s; python over two workers %.2f, one core over two workers %.2f\n", $1, $2, $3, $4, older, $2 / $4, $3 / $4}'
done
