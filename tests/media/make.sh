#!/bin/sh
# Makes the small clips of this folder and their golden values again.
# Needs: ffmpeg with libx264 (Debian: ffmpeg), python3. Run it in this folder.
set -eu

x264() { # frames-per-second, extra options..., output
    fps=$1
    shift
    ffmpeg -v error -y -f lavfi -i "testsrc2=size=320x180:rate=$fps" -t 1.5 \
        -c:v libx264 -preset medium -crf 32 -pix_fmt yuv420p -map_metadata -1 \
        -fflags +bitexact -flags:v +bitexact "$@"
}

# 1. No B-frames: output order is decode order.
x264 30 -bf 0 -g 15 no-b-frames.mp4
# 2. B-frames with a pyramid: decode order and show order differ.
x264 30 -bf 3 -b_strategy 0 -x264-params b-pyramid=normal -g 30 b-frames.mp4
# 3. BT.709 limited range, tagged as such, and a variable frame rate: every
#    frame whose number divides by 3 is left out.
ffmpeg -v error -y -f lavfi -i "testsrc2=size=320x180:rate=30" -t 1.5 \
    -vf "select='not(eq(mod(n,3),2))',scale=out_color_matrix=bt709:out_range=tv" -fps_mode passthrough \
    -c:v libx264 -preset medium -crf 32 -pix_fmt yuv420p -bf 2 \
    -colorspace bt709 -color_primaries bt709 -color_trc bt709 -color_range tv \
    -map_metadata -1 -fflags +bitexact -flags:v +bitexact variable-rate-709.mp4
# 4. The first clip with a display matrix that asks for a quarter turn.
ffmpeg -v error -y -display_rotation 270 -i no-b-frames.mp4 -c copy rotated.mp4 2>/dev/null \
    || ffmpeg -v error -y -i no-b-frames.mp4 -c copy -metadata:s:v:0 rotate=90 rotated.mp4
# 5. HEVC and Matroska, for the way through an ffmpeg process.
ffmpeg -v error -y -f lavfi -i "testsrc2=size=160x90:rate=25" -t 0.4 \
    -c:v libx265 -x265-params log-level=error -crf 34 -pix_fmt yuv420p -tag:v hvc1 hevc.mp4
ffmpeg -v error -y -i no-b-frames.mp4 -c copy -t 0.5 h264.mkv

python3 golden.py ./*.mp4 ./*.mkv > golden.json
