#!/usr/bin/env bash
# The loudness of every sound by ffmpeg's meter (filter ebur128, EBU R128): the
# largest momentary loudness, with half a second of silence on both sides. Ends with
# 1 where two sounds differ by more than 1 dB, or one lasts 0.9 s or longer.
set -euo pipefail
cd "$(dirname "$0")/../../sounds"
low=0 high=-99 bad=0
for file in *.wav; do
  # The meter writes to the log; -70 is its floor.
  m=$(ffmpeg -nostats -hide_banner -i "$file" -af "adelay=500:all=1,apad=pad_dur=0.6,ebur128" \
      -f null - 2>&1 | grep -oE 'M: *-?[0-9.]+' | grep -oE '\-?[0-9.]+$' | sort -g | tail -1)
  s=$(ffprobe -v error -show_entries format=duration -of csv=p=0 "$file")
  printf '%-24s %6.1f LUFS  %5.2f s\n' "$file" "$m" "$s"
  low=$(awk -v a="$low" -v b="$m" 'BEGIN { print (b < a) ? b : a }')
  high=$(awk -v a="$high" -v b="$m" 'BEGIN { print (b > a) ? b : a }')
  awk -v s="$s" 'BEGIN { exit !(s >= 0.9) }' && { echo "$file is too long"; bad=1; }
done
echo "from $low to $high LUFS"
awk -v a="$low" -v b="$high" 'BEGIN { exit !(b - a > 1.0) }' && bad=1
exit $bad
