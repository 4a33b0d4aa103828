#!/usr/bin/env bash
# Makes what is handed to a rink: a Debian package, and an archive that runs from any
# folder without root. Started by `./station package`, which installs what it needs.
#
#   tools/package/make.sh [FOLDER]
#
# Writes kickplate_VERSION_ARCH.deb and kickplate-VERSION-ARCH.tar.gz into FOLDER
# (target/package unless given). Both are made from one tree. What is packed has
# the time of the commit and no owner, so that one build is packed to the same bytes
# each time.
set -euo pipefail

root=$(cd "$(dirname "$(readlink -f "${BASH_SOURCE[0]}")")/../.." && pwd)
here=$root/tools/package
target=${CARGO_TARGET_DIR:-$root/target}
out=$(mkdir -p "${1:-$target/package}" && readlink -f "${1:-$target/package}")
say() { printf 'package: %s\n' "$*" >&2; }
cd "$root"

version=$(sed -n '/^\[workspace.package\]/,/^$/s/^version = "\(.*\)"/\1/p' Cargo.toml)
arch=$(dpkg --print-architecture)
commit=$(git rev-parse HEAD 2>/dev/null || echo unknown)
SOURCE_DATE_EPOCH=$(git log -1 --format=%ct 2>/dev/null || stat -c %Y Cargo.toml)
export SOURCE_DATE_EPOCH
if [ -n "$(git status --porcelain --untracked-files=no 2>/dev/null)" ]; then
    commit="$commit with changes"
fi
export KICKPLATE_COMMIT=$commit

say "building $version ($commit) for $arch"
case ${KICKPLATE_PROFILE-release} in
release)
    built=$target/release
    # What names a source file (panics, asserts) names it without the folder of this machine,
    # so that another folder gives the same program.
    cargo_home=$(readlink -f "${CARGO_HOME:-$HOME/.cargo}")
    flags=("--remap-path-prefix=$cargo_home=/cargo" "--remap-path-prefix=$root=/kickplate")
    CARGO_ENCODED_RUSTFLAGS=$(IFS=$'\x1f'; echo "${flags[*]}")
    CFLAGS="${CFLAGS:-} -ffile-prefix-map=$cargo_home=/cargo -ffile-prefix-map=$root=/kickplate"
    CXXFLAGS="${CXXFLAGS:-} -ffile-prefix-map=$cargo_home=/cargo -ffile-prefix-map=$root=/kickplate"
    export CARGO_ENCODED_RUSTFLAGS CFLAGS CXXFLAGS
    cargo build --release --locked --package kickplate --package kickplate-lab
    ;;
dev) # to try the packing itself without the long build
    built=$target/debug
    cargo build --locked --workspace --bins
    ;;
esac

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
umask 022
deb=$work/deb
doc=$deb/usr/share/doc/kickplate
share=$deb/usr/share/kickplate

# The program without what only a debugger reads.
install -D -m 755 "$built/kickplate" "$deb/usr/bin/kickplate"
strip --strip-all --remove-section=.comment "$deb/usr/bin/kickplate"

# Its own files. Only what is under version control, so that nothing of this machine
# leaves by mistake.
mkdir -p "$share"
git archive "HEAD" models sounds lang config demo | tar -x -C "$share"
cat >"$share/installed-for-all" <<'TEXT'
These files belong to the system. Settings are each user's own, in
~/.config/kickplate; the first start copies those in config/.
TEXT
engine=$root/.kit/onnxruntime
if [ -e "$engine/libonnxruntime.so" ]; then
    mkdir -p "$deb/usr/lib/kickplate"
    cp -a "$engine"/libonnxruntime.so* "$deb/usr/lib/kickplate/"
else
    say "without the native engine, which was not fetched: the built-in one is several times slower"
fi

# Desktop, service, manual, completions.
install -D -m 644 "$here/kickplate.desktop" -t "$deb/usr/share/applications"
install -D -m 644 "$here/kickplate.svg" -t "$deb/usr/share/icons/hicolor/scalable/apps"
unit=$deb/usr/lib/systemd/user/kickplate.service
mkdir -p "${unit%/*}"
{
    echo "# Off until asked for: systemctl --user enable --now kickplate"
    sed -e '/^# *mkdir/d;/^# *cp /d;/^# *systemctl --user /d;2d' \
        -e 's|^WorkingDirectory=.*|WorkingDirectory=%h|' \
        -e 's|^ExecStart=.*|ExecStart=/usr/bin/kickplate|' "$root/tools/kiosk/kickplate.service"
} >"$unit"
grep -q '^ExecStart=/usr/bin/kickplate$' "$unit"
"$built/kickplate-lab" manual --out "$work/manual"
install -D -m 644 "$work"/manual/man/*.1 -t "$deb/usr/share/man/man1"
install -D -m 644 "$work/manual/completions/kickplate.bash" "$deb/usr/share/bash-completion/completions/kickplate"
install -D -m 644 "$work/manual/completions/_kickplate" -t "$deb/usr/share/zsh/vendor-completions"
install -D -m 644 "$work/manual/completions/kickplate.fish" -t "$deb/usr/share/fish/vendor_completions.d"
gzip -9n "$deb"/usr/share/man/man1/*.1

# Papers.
mkdir -p "$doc"
install -m 644 NOTICE LICENSE-MIT CHANGELOG.md "$here/README.Debian" -t "$doc"
install -m 644 tools/kiosk/README.md "$doc/kiosk.md"
cp -a docs/*.md docs/*.png docs/*.json "$doc/"
cargo metadata --format-version 1 --locked --filter-platform "$(rustc -vV | sed -n 's/^host: //p')" |
    python3 "$here/licences.py" >"$doc/LIBRARIES"
{
    cat <<'TEXT'
Format: https://www.debian.org/doc/packaging-manuals/copyright-format/1.0/
Upstream-Name: Kickplate
Comment: What came from elsewhere is named in /usr/share/doc/kickplate/NOTICE, the
 libraries compiled into the program with their licences in LIBRARIES.gz there.

Files: *
Copyright: 2026 The Kickplate authors
License: Expat or Apache-2.0

Files: usr/share/kickplate/models/*
Copyright: Google LLC, The MediaPipe Authors, The TensorFlow Authors
License: Apache-2.0

Files: usr/lib/kickplate/*
Copyright: Microsoft Corporation
License: Expat
Comment: ONNX Runtime; its own licence and notices are beside this file.

License: Apache-2.0
 On Debian systems the text is in /usr/share/common-licenses/Apache-2.0.

License: Expat
TEXT
    sed -e 's/^$/./' -e 's/^/ /' LICENSE-MIT
} >"$doc/copyright"
for paper in LICENSE ThirdPartyNotices.txt; do
    if [ -e "$engine/$paper" ]; then install -m 644 "$engine/$paper" "$doc/onnxruntime-$paper"; fi
done
find "$doc" \( -name LIBRARIES -o -name CHANGELOG.md -o -name 'onnxruntime-*.txt' \) -exec gzip -9n {} +
mv "$doc/CHANGELOG.md.gz" "$doc/changelog.gz"

# The package. Libraries it is linked with are found by dpkg-shlibdeps; those it
# loads when a window opens are named here and in `station`.
mkdir -p "$deb/DEBIAN" "$work/debian"
install -m 755 "$here/postrm" "$deb/DEBIAN/postrm"
printf 'Source: kickplate\n\nPackage: kickplate\nArchitecture: any\nDescription: x\n' >"$work/debian/control"
linked=$(cd "$work" && dpkg-shlibdeps -O deb/usr/bin/kickplate | sed -n 's/^shlibs:Depends=//p')
window=$(sed -n 's/^run_packages=(\(.*\))$/\1/p' "$root/station")
depends="$linked$(printf ', %s' $window)"
cat >"$deb/DEBIAN/control" <<TEXT
Package: kickplate
Version: $version
Architecture: $arch
Section: education
Priority: optional
Maintainer: The Kickplate authors <kickplate@localhost>
Installed-Size: $(du -sk --apparent-size --exclude=DEBIAN "$deb" | cut -f1)
Depends: $depends
Description: rinkside camera station for the forward stride
 A camera outside the boards watches skaters do repeated lanes. Right after each
 pass a big screen and a sound give one cue: the one thing to do next time,
 measured against the limits the coach has set. Offline; nothing leaves the
 machine. What the camera cannot see it does not judge.
TEXT
(cd "$deb" && find usr -type f -print0 | LC_ALL=C sort -z | xargs -0 md5sum) >"$deb/DEBIAN/md5sums"
package=$out/kickplate_${version}_$arch.deb
find "$deb" -exec touch -h -d "@$SOURCE_DATE_EPOCH" {} +
dpkg-deb --root-owner-group -Zxz --build "$deb" "$package" >&2

# The archive: the same program, from a folder of its own.
name=kickplate-$version-$arch
tree=$work/$name
mkdir -p "$tree/lib"
cp -a "$share/." "$tree/"
rm "$tree/installed-for-all"
cp -a "$deb/usr/bin/kickplate" "$tree/"
if [ -d "$deb/usr/lib/kickplate" ]; then cp -a "$deb"/usr/lib/kickplate/. "$tree/lib/"; fi
cp -a "$doc" "$tree/doc"
cp -a "$here/README.archive" "$tree/README.txt"
find "$tree" -exec touch -h -d "@$SOURCE_DATE_EPOCH" {} +
tar --sort=name --owner=0 --group=0 --numeric-owner --mtime="@$SOURCE_DATE_EPOCH" \
    --format=gnu -C "$work" -c "$name" | gzip -9n >"$out/$name.tar.gz"

(cd "$out" && sha256sum "kickplate_${version}_$arch.deb" "$name.tar.gz" | tee SHA256SUMS)
say "written to $out"
