#!/bin/sh
# Holds a finished export against programs that are not ours.
#
#   tools/export/check.sh EXPORT_FOLDER [SEMICOLON_EXPORT_FOLDER]
#
# Needs: python3 with pyarrow, pandas, jsonschema (PyPI); ffmpeg, chromium,
# poppler-utils, libreoffice-calc (Debian); node with puppeteer-core, axe-core,
# vnu-jar (npm) and a Java runtime. What is missing is skipped and said.
# PYTHON and NODE_MODULES name other places of python3 and node_modules.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
export=$(cd "$1" && pwd)
python=${PYTHON:-python3}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
have() { command -v "$1" >/dev/null 2>&1 || { echo "SKIPPED: no $1"; return 1; }; }

echo "== tables and JSON"
"$python" "$here/check_tables.py" "$export" "$here/../../docs/session.schema.json" ${2:+"$2"}

echo "== clips"
if have ffprobe; then
    count=0
    for clip in "$export"/clips/*.mp4; do
        [ -e "$clip" ] || continue
        count=$((count + 1))
        line=$(ffprobe -v error -select_streams v:0 -show_entries \
            stream=codec_name,profile,pix_fmt,width,height,nb_frames:format=format_name \
            -of csv=p=0 "$clip" | tr '\n' ' ')
        case $line in
            *h264*yuv420p*) ;;
            *) echo "FAULT: $clip: $line"; exit 1 ;;
        esac
        # Every picture decoded; any fault is said and counts.
        ffmpeg -v error -xerror -i "$clip" -f null - 2>"$work/err" || { echo "FAULT: $clip"; cat "$work/err"; exit 1; }
        [ -s "$work/err" ] && { echo "FAULT: $clip"; cat "$work/err"; exit 1; }
        tags=$(ffprobe -v error -show_entries format_tags:stream_tags -of csv=p=0 "$clip" | tr '\n' ' ')
    done
    echo "$count clips: H.264, yuv420p, every picture decoded without a fault; last one: $line"
    echo "tags of the last one: ${tags:-none}"
fi

echo "== LibreOffice"
if have soffice; then
    # 44 is the comma, 59 the semicolon; 76 is UTF-8; then the first line and
    # the language whose numbers are read: 1033 English, 1031 German.
    for pair in "$export:44:1033" ${2:+"$2:59:1031"}; do
        folder=${pair%%:*}; rest=${pair#*:}
        HOME=$work soffice --headless --convert-to \
            "xlsx:Calc MS Excel 2007 XML" \
            --infilter="CSV:${rest%%:*},34,76,1,,${rest#*:},false,true" \
            --outdir "$work" "$folder/pushes.csv" >/dev/null 2>&1 || echo "FAULT: soffice"
        "$python" "$here/check_tables.py" --sheet "$work/pushes.xlsx" "$export/pushes.parquet"
    done
fi

echo "== pages"
if have node && have chromium; then
    NODE_PATH=${NODE_MODULES:-"$here/node_modules"} node "$here/check_pages.cjs" "$export" "$work"
    for pdf in "$work"/*.pdf; do
        pages=$(pdfinfo "$pdf" | sed -n 's/^Pages: *//p')
        echo "$(basename "$pdf"): $pages pages"
        [ "$pages" -le 2 ] || { echo "FAULT: more than two"; exit 1; }
    done
fi
vnu=${NODE_MODULES:-"$here/node_modules"}/vnu-jar/build/dist/vnu.jar
if [ -e "$vnu" ] && have java; then
    java -jar "$vnu" --errors-only "$export"/index.html "$export"/skaters/*.html && echo "vnu: no error"
fi
echo "all done"
