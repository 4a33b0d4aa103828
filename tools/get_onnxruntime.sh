#!/bin/sh
# Fetches ONNX Runtime, the faster of the two pose engines. Not needed to run:
# without it the built-in engine works, several times slower.
#
#   sh tools/get_onnxruntime.sh [DEST_DIR]
#
# DEST_DIR is .kit/onnxruntime in the project's folder unless given; that is
# where the program looks. Takes one shared library and its licence out of the
# PyPI package onnxruntime; no Python code of it is installed or run.
# Needs: x86-64 Linux, python3 with pip, unzip. Ends with 1 when something is
# missing or the library is not the expected one; then nothing is installed.
set -eu

VERSION=1.24.4
SHA256=2d518e11c7767f9fdc4413bdbeb45acf30db504ff76a82fc19d9238a3f9f6c24
HERE=$(cd "$(dirname "$0")/.." && pwd)
DEST=${1:-$HERE/.kit/onnxruntime}
LIBRARY=libonnxruntime.so.$VERSION

fail() {
    echo "get_onnxruntime: $1" >&2
    exit 1
}

[ "$(uname -s)-$(uname -m)" = Linux-x86_64 ] ||
    fail "the pinned library is for x86-64 Linux; the built-in engine works here without it"
command -v python3 >/dev/null || fail "python3 is missing: apt install python3 python3-pip"
python3 -m pip --version >/dev/null 2>&1 || fail "pip is missing: apt install python3-pip"
command -v unzip >/dev/null || fail "unzip is missing: apt install unzip"

if [ -f "$DEST/$LIBRARY" ] && echo "$SHA256  $DEST/$LIBRARY" | sha256sum -c --status; then
    ln -sf "$LIBRARY" "$DEST/libonnxruntime.so"
    echo "ONNX Runtime $VERSION is already in $DEST"
    exit 0
fi

WORK=$(mktemp -d)
trap 'rm -rf "$WORK"' EXIT
# The library inside does not depend on the Python version; one is named so
# that every machine gets the same file.
python3 -m pip download --quiet --disable-pip-version-check --no-deps \
    --only-binary=:all: --python-version 3.11 --implementation cp --abi cp311 \
    --platform manylinux_2_28_x86_64 --platform manylinux_2_27_x86_64 \
    --platform manylinux2014_x86_64 \
    --dest "$WORK" "onnxruntime==$VERSION" ||
    fail "the package onnxruntime $VERSION could not be downloaded: is this machine online?"
unzip -q -o -j "$WORK"/onnxruntime-*.whl "onnxruntime/capi/$LIBRARY" \
    onnxruntime/LICENSE onnxruntime/ThirdPartyNotices.txt -d "$WORK/out" ||
    fail "the package does not hold $LIBRARY"
echo "$SHA256  $WORK/out/$LIBRARY" | sha256sum -c --status ||
    fail "the library in the package is not the expected one (sha256 differs)"
mkdir -p "$DEST"
mv "$WORK/out/"* "$DEST/"
ln -sf "$LIBRARY" "$DEST/libonnxruntime.so"
echo "ONNX Runtime $VERSION is in $DEST"
