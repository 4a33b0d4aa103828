#!/usr/bin/env bash
# Tries the README's two commands on a bare Debian 12: a system of
# `debootstrap --variant=minbase`, a clone of this project at HEAD, a Rust
# toolchain, and nothing else. A green run on a machine where everything is
# installed hides a missing package; this one does not.
#
#   sudo tools/bare/run.sh [FOLDER] [-- COMMAND...]
#
# FOLDER (a new one unless given) gets the system and is kept when a step
# fails; it is used again when it holds one already. With COMMAND only that runs in
# it, in place of `./station demo` and `./station test`.
# Needs: root, debootstrap, a way to Debian's packages and to crates.io. Binds
# this machine's Rust toolchain and its registry of crates into the system.
set -euo pipefail

root=$(cd "$(dirname "$(readlink -f "${BASH_SOURCE[0]}")")/../.." && pwd)
say() { printf 'bare: %s\n' "$*" >&2; }

[ "$(id -u)" = 0 ] || { say "needs root"; exit 2; }
command -v debootstrap >/dev/null || { say "debootstrap is missing: apt-get install debootstrap"; exit 2; }
command -v rustc >/dev/null || PATH=$PATH:${CARGO_HOME:-$HOME/.cargo}/bin
toolchain=$(rustc --print sysroot)
crates=${CARGO_HOME:-$HOME/.cargo}/registry

system=
case ${1-} in '' | --) ;; *) system=$1; shift ;; esac
[ "${1-}" != -- ] || shift
[ -n "$system" ] || system=$(mktemp -d --tmpdir kickplate-bare.XXXXXX)
mkdir -p "$system"
system=$(readlink -f "$system")

if [ ! -x "$system/bin/sh" ]; then
    say "a Debian 12 in $system"
    debootstrap --variant=minbase bookworm "$system" >"$system.debootstrap.log" ||
        { tail -5 "$system.debootstrap.log" >&2; exit 1; }
    rm -f "$system.debootstrap.log"
fi

mounted=()
bind() { # FROM TO [OPTIONS]
    mkdir -p "$system$2"
    mount --bind "$1" "$system$2"
    mounted=("$system$2" "${mounted[@]}")
    [ -z "${3-}" ] || mount -o "remount,bind,$3" "$system$2"
}
undo() {
    local place
    for place in "${mounted[@]}"; do umount "$place" || say "still mounted: $place"; done
}
trap undo EXIT

mkdir -p "$system/proc" "$system/dev"
mount -t proc proc "$system/proc"
mounted=("$system/proc" "${mounted[@]}")
bind /dev /dev
mount -t tmpfs -o mode=1777 tmpfs "$system/dev/shm" && mounted=("$system/dev/shm" "${mounted[@]}")
bind "$toolchain" /opt/rust ro
mkdir -p "$crates"
bind "$crates" /root/.cargo/registry
cp /etc/resolv.conf "$system/etc/resolv.conf"
# Certificates of a proxy of this place, where there are any: as a file, not as
# a package, so that what the project needs itself is not hidden.
certificates=${SSL_CERT_FILE:-${CARGO_HTTP_CAINFO:-${PIP_CERT-}}}
[ -z "$certificates" ] || install -D -m 644 "$certificates" "$system/opt/certificates.pem"

rm -rf "$system/root/kickplate"
git clone -q "$root" "$system/root/kickplate" 2>/dev/null ||
    { say "no clone could be made of $root"; exit 1; }

inside() { # SHELL WORDS
    chroot "$system" /usr/bin/env -i HOME=/root PATH=/usr/sbin:/usr/bin:/sbin:/bin:/opt/rust/bin \
        ${certificates:+CARGO_HTTP_CAINFO=/opt/certificates.pem} \
        ${certificates:+SSL_CERT_FILE=/opt/certificates.pem} \
        ${certificates:+PIP_CERT=/opt/certificates.pem} \
        LANG=C.UTF-8 /bin/sh -c "cd /root/kickplate && $1"
}

failed=0
try() { # NAME SHELL WORDS
    local since=$SECONDS
    if inside "$2" >"$system/root/$1.log" 2>&1; then
        say "$1: good, $((SECONDS - since)) s"
    else
        say "$1: FELL SHORT after $((SECONDS - since)) s; $system/root/$1.log ends:"
        tail -40 "$system/root/$1.log" >&2
        failed=1
    fi
    # Tests and parts of tests that were left out.
    grep -a 'NOT RUN' "$system/root/$1.log" | sort -u >&2 || true
}

if [ $# -gt 0 ]; then
    try command "$*"
else
    try demo './station demo'
    try test './station test'
fi
if [ "$failed" = 0 ]; then say "nothing fell short; $system can be deleted"; fi
exit "$failed"
