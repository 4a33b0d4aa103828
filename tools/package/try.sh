#!/usr/bin/env bash
# Tries a package where it will be used: a bare Debian, made by debootstrap, with
# nothing of this project or of a compiler in it. A maintainer's command.
#
#   sudo tools/package/try.sh FOLDER [SYSTEM [RELEASE]]
#
# FOLDER holds what `./station package` wrote. SYSTEM is a bare Debian to try it
# in (`debootstrap --variant=minbase RELEASE SYSTEM`); it is made where it is not
# there, of RELEASE: bookworm (Debian 12, where nothing is said) or trixie (13). It is
# not changed: everything happens in a layer over it.
#
# Installs the package with its dependencies as apt does, lets a user who is not
# root check, play the demo and judge it, upgrades, removes and purges; then runs the
# archive from a folder of that user. What is asked for is looked at, not only
# exit codes. Ends with 1 at the first thing that is not so.
set -euo pipefail

say() { printf 'try: %s\n' "$*" >&2; }
die() { say "FELL SHORT: $*"; exit 1; }
[ "$(id -u)" = 0 ] || { say "needs root"; exit 2; }
[ $# -ge 1 ] || { say "usage: try.sh FOLDER [SYSTEM [RELEASE]]"; exit 2; }
from=$(readlink -f "$1")
deb=$(ls -t "$from"/kickplate_*.deb | head -n1)
archive=$(ls -t "$from"/kickplate-*.tar.gz | head -n1)

work=$(mktemp -d --tmpdir kickplate-try.XXXXXX)
system=${2:-$work/bare}
release=${3:-bookworm}
mounted=()
undo() {
    local place
    for place in "${mounted[@]}"; do umount "$place" || say "still mounted: $place"; done
    rm -rf "$work"
}
trap undo EXIT
if [ ! -x "$system/bin/sh" ]; then
    command -v debootstrap >/dev/null || { say "debootstrap is missing: apt-get install debootstrap"; exit 2; }
    say "a bare Debian ($release) in $system"
    debootstrap --variant=minbase "$release" "$system" >"$work/debootstrap.log" ||
        { tail -5 "$work/debootstrap.log" >&2; exit 1; }
fi
system=$(readlink -f "$system")

# A layer over the system, in memory: deleted at the end.
mkdir -p "$work/layer" "$work/root"
mount -t tmpfs tmpfs "$work/layer" && mounted=("$work/layer")
mkdir "$work/layer/new" "$work/layer/work"
mount -t overlay overlay -o "lowerdir=$system,upperdir=$work/layer/new,workdir=$work/layer/work" "$work/root"
mounted=("$work/root" "${mounted[@]}")
root=$work/root
mount -t proc proc "$root/proc" && mounted=("$root/proc" "${mounted[@]}")
mount --bind /dev "$root/dev" && mounted=("$root/dev" "${mounted[@]}")
cp /etc/resolv.conf "$root/etc/resolv.conf"
# The base may hold more than a bare system; a toolchain would hide a missing file.
rm -rf "$root/root/kickplate" "$root/root/.kit" "$root/opt/rust"
say "in $(sed -n 's/^PRETTY_NAME="\(.*\)"$/\1/p' "$root/etc/os-release")"

inside() { chroot "$root" /usr/bin/env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin LANG=C.UTF-8 \
    HOME=/root DEBIAN_FRONTEND=noninteractive "$@"; }
as_user() { chroot --userspec=rink:rink "$root" /usr/bin/env -i PATH=/usr/bin:/bin LANG=C.UTF-8 \
    HOME=/home/rink sh -c "cd && $1"; }
step() { say "$1"; shift; "$@" >"$work/log" 2>&1 || { tail -30 "$work/log" >&2; die "$*"; }; }
has() { grep -q -- "$1" "$work/log" || { cat "$work/log" >&2; die "nothing says '$1'"; }; }

step "a user who is not root" inside useradd --create-home rink
install -m 644 "$deb" "$root/kickplate.deb"
step "apt knows the packages" inside apt-get -q update
since=$SECONDS
step "install" inside apt-get -q -y install --no-install-recommends ./kickplate.deb
say "installed with its dependencies after $((SECONDS - since)) s"

step "version" as_user 'kickplate --version'
has 'commit: '
has 'pose_landmark_full_f16w.onnx'
step "check" as_user 'kickplate check'
has '/home/rink/.config/kickplate/station.toml'
has 'pose_landmark_full_f16w.onnx'
has 'The station can run'
if [ -e "$root/usr/lib/kickplate/libonnxruntime.so" ]; then has 'ONNX Runtime'; fi
since=$SECONDS
step "headless demo" as_user 'kickplate demo --headless --out demo-out'
has 'Written: '
say "demo judged after $((SECONDS - since)) s"
[ -s "$root/home/rink/demo-out/session.json" ] || die "the demo left no session.json"
grep -q '"flags"' "$root/home/rink/demo-out/session.json" || die "the demo judged nothing"
step "a recording judged" as_user \
    'kickplate review /usr/share/kickplate/demo/side-faulty.mp4 --lane /usr/share/kickplate/demo/side-faulty.toml --age-group adult --out reviewed'
has 'passes\? of'
step "settings of the user" as_user 'kickplate config check'
for file in usr/share/man/man1/kickplate.1.gz usr/share/man/man1/kickplate-review.1.gz \
    usr/share/bash-completion/completions/kickplate usr/share/applications/kickplate.desktop \
    usr/share/icons/hicolor/scalable/apps/kickplate.svg usr/lib/systemd/user/kickplate.service; do
    [ -e "$root/$file" ] || { # minbase may be told to leave documents out
        case $file in usr/share/man/*) dpkg-deb -c "$deb" | grep -q "$file" && continue ;; esac
        die "$file is not there"
    }
done
[ ! -e "$root/etc/systemd/user/graphical-session.target.wants/kickplate.service" ] ||
    die "the service is on without being asked for"

# Something of the coach's own, which has to outlive everything.
as_user 'mkdir -p .local/share/kickplate && cp -r demo-out .local/share/kickplate/ && printf "\n# mine\n" >>.config/kickplate/station.toml'
kept() {
    [ -s "$root/home/rink/.local/share/kickplate/demo-out/session.json" ] || die "a recording is gone"
    grep -q '^# mine$' "$root/home/rink/.config/kickplate/station.toml" || die "the user's settings are gone"
}
dpkg-deb -R "$deb" "$work/next"
sed -i 's/^Version: .*/&+next/' "$work/next/DEBIAN/control"
dpkg-deb --root-owner-group -Zgzip -z1 --build "$work/next" "$root/next.deb" >/dev/null
step "upgrade" inside apt-get -q -y install ./next.deb
kept
step "check after the upgrade" as_user 'kickplate check'
step "remove" inside apt-get -q -y remove kickplate
[ ! -e "$root/usr/bin/kickplate" ] && [ ! -e "$root/usr/share/kickplate" ] || die "files of the package are left"
kept
step "purge" inside apt-get -q -y purge kickplate
has 'recordings of each user are still'
kept

install -m 644 "$archive" "$root/home/rink/archive.tar.gz"
step "unpack the archive" as_user 'tar xzf archive.tar.gz'
step "check from the archive" as_user 'cd kickplate-*/ && ./kickplate check'
has '/home/rink/kickplate-.*/config/station.toml'
step "demo from the archive" as_user 'cd kickplate-*/ && ./kickplate demo --headless --out ~/from-archive'
cmp <(grep -c '"track_id"' "$root/home/rink/from-archive/session.json") \
    <(grep -c '"track_id"' "$root/home/rink/demo-out/session.json") ||
    die "archive and package saw other passes"
say "nothing fell short"
