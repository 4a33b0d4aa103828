#!/usr/bin/env python3
"""Renders a named set of clips:  venv/bin/python render_set.py SET --out DIR [--only PART-OF-A-NAME]

    DIR/<name>/clip.mp4      DIR/<name>/truth.json

What is there already is left alone, so a broken-off run goes on where it stopped, and several runs may share a folder: each
clip is made in a folder of its own that only one of them can claim, and moved into place when it is whole.
`--list` prints the sets and their clips.
"""
import argparse
import os
import shutil
import time

from sets import SETS


def claim(folder):
    """Whether this process is now the one that makes this clip."""
    note = os.path.join(folder, "process")
    try:
        os.mkdir(folder)
    except FileExistsError:
        try:
            os.kill(int(open(note).read()), 0)
            return False                                   # somebody is at it
        except PermissionError:
            return False
        except (OSError, ValueError):
            if time.time() - os.path.getmtime(folder) < 5:
                return False                               # just claimed, not signed yet
            shutil.rmtree(folder, ignore_errors=True)      # left behind by a run that died
            return claim(folder)
    with open(note, "w") as f:
        f.write(str(os.getpid()))
    return True


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("set", choices=list(SETS), nargs="?")
    a.add_argument("--out")
    a.add_argument("--only", default="", help="only clips whose name holds this")
    a.add_argument("--list", action="store_true")
    a = a.parse_args()
    if a.list or not a.set or not a.out:
        for name, clips in SETS.items():
            print(f"{name}: {len(clips)} clips, {sum(c.seconds for c in clips):.0f} s")
            print("   " + ", ".join(c.name for c in clips))
        return
    from clip import render                                # needs the body data
    os.makedirs(a.out, exist_ok=True)
    for clip in SETS[a.set]:
        done, part = os.path.join(a.out, clip.name), os.path.join(a.out, clip.name + ".part")
        if a.only not in clip.name or os.path.exists(os.path.join(done, "truth.json")) or not claim(part):
            continue
        began = time.time()
        line = render(clip, part)
        os.remove(os.path.join(part, "process"))
        shutil.rmtree(done, ignore_errors=True)
        os.rename(part, done)
        print(f"{clip.name}: {line}, {time.time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
