#!/usr/bin/env bash
# Makes the fonts for names in other scripts from the Debian package
# fonts-noto-core (SIL Open Font License 1.1) and puts them where the program
# takes them from. Needs apt, dpkg-deb and fontTools.
set -euo pipefail
into=$(cd "$(dirname "$0")/../../crates/interface/src/display/fonts" && pwd)
work=$(mktemp -d)
trap 'rm -r "$work"' EXIT
cd "$work"
apt-get download fonts-noto-core
dpkg-deb -x fonts-noto-core_*.deb x
from=x/usr/share/fonts/truetype/noto
for script in Arabic Armenian Devanagari Georgian Hebrew Tamil Thai; do
    cp "$from/NotoSans$script-Bold.ttf" "$into/"
done
# Of the large one only what the font of the screen has not got: Greek,
# Cyrillic, Latin with further signs.
python3 -m fontTools.subset "$from/NotoSans-Bold.ttf" \
    --unicodes=U+0100-024F,U+0300-036F,U+0370-03FF,U+0400-052F,U+1E00-1EFF \
    --layout-features='*' --output-file="$into/NotoSans-Bold-subset.ttf"
