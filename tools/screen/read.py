#!/usr/bin/env python3
"""Reads the orders back from the pictures of the screen *as seen from ten metres*.

A reader that knows nothing of the station: Tesseract (apt install tesseract-ocr
tesseract-ocr-fra), which is given the small picture, made larger, and the language.

    cargo run --example screen_states -- FOLDER "" order-
    tools/screen/read.py FOLDER

Every size, light and dark, both languages. Prints a table; docs/screens.md has one.
Needs Pillow. Ends with 1 where less than 95 of 100 orders are read.
"""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

from PIL import Image, ImageOps

ORDERS = {
    "knees": ("knee_bend", "cue"),
    "push": ("extension", "cue"),
    "heels": ("recovery_gap", "cue"),
    "arms": ("arm_crossover", "cue"),
    "ahead": ("trunk_lean", "cue_more"),
    "up": ("trunk_lean", "cue_less"),
    "toe": ("toe_direction", "cue"),
}
LARGER = 4


def letters(text):
    return re.sub(r"[^a-zà-ÿ]", "", text.lower())


def looks(picture):
    """The whole, and where the grid of the screen has its words: the right of a lying
    one, the lower part of a standing one. A drawing beside letters is what a page
    reader stumbles over; a person looks at the words."""
    yield picture
    w, h = picture.size
    yield picture.crop((int(0.44 * w), int(0.12 * h), w, int(0.88 * h)) if w > h
                       else (0, int(0.46 * h), w, int(0.90 * h)))


def read(path, language):
    """What is read, one entry for each look at the picture."""
    picture = ImageOps.autocontrast(Image.open(path).convert("L"))
    # Tesseract reads dark letters on light.
    if picture.resize((1, 1), Image.BOX).getpixel((0, 0)) < 128:
        picture = ImageOps.invert(picture)
    large = path.with_suffix(".ocr.png")
    seen = []
    for part in looks(picture):
        part = part.resize((part.width * LARGER, part.height * LARGER), Image.LANCZOS)
        ImageOps.expand(part, 20, fill=255).save(large)
        # Words strewn over a picture, and a block of text: a reader tries both.
        for mode in ("11", "6"):
            run = ["tesseract", str(large), "-", "-l", language, "--psm", mode]
            done = subprocess.run(run, capture_output=True, text=True, check=True)
            seen.append(letters(done.stdout))
    large.unlink()
    return seen


def main():
    folder = Path(sys.argv[1])
    root = Path(__file__).resolve().parents[2]
    table = {}
    for code, language in (("en", "eng"), ("fr", "fra")):
        words = tomllib.loads((root / "lang" / f"{code}.toml").read_text())
        for path in sorted(folder.glob(f"seen-{code}-*-order-*.png")):
            name = path.stem.rsplit("-", 1)[1]
            if name not in ORDERS or "-quiet-" in path.stem:
                continue
            rule, key = ORDERS[name]
            wanted = words["rules"][rule][key]
            seen = read(path, language)
            # The whole order in one look.
            found = any(all(letters(w) in look for w in wanted.split()) for look in seen)
            _, _, look, size, *_ = path.stem.split("-")
            row = table.setdefault((code, look, size), [0, 0])
            row[0] += found
            row[1] += 1
            if not found:
                print(f"{path.name}: '{wanted}' was not read, but {[look[:30] for look in seen]}")
    good, of = (sum(row[i] for row in table.values()) for i in (0, 1))
    for (code, look, size), (read_, all_) in table.items():
        print(f"{code} {look:5} {size:9} {read_} of {all_}")
    if of == 0:
        sys.exit(f"no pictures seen-*-order-*.png in {folder}")
    print(f"{good} of {of} orders read ({100 * good / of:.0f} %)")
    sys.exit(0 if good >= 0.95 * of else 1)


if __name__ == "__main__":
    main()
