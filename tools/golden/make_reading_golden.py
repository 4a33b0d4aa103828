#!/usr/bin/env python3
"""Makes the expected values of tests/pure/reading.rs: how easy the child's words are.

    python3 -m venv venv
    venv/bin/pip install textstat==0.7.4 wordfreq==3.1.1 simplemma==2.0.0
    venv/bin/python tools/golden/make_reading_golden.py tests/golden/reading.json

Two lists for each language, taken from lang/:

* `words`: each word of the short texts of the skater's screen with its frequency on the
  Zipf scale (van Heuven, Mandera, Keuleers and Brysbaert 2014: the logarithm of how often
  it comes in a thousand million words), all forms of the word together, because who reads
  'bend' reads 'bends'. wordfreq 3.1.1 (Apache-2.0; its data CC BY-SA 4.0), base forms by
  simplemma 2.0.0 (MIT), and by BASE where a form is a word of its own as well.
* `texts`: the sentences of the skater's own page with their words, sentences and syllables
  as textstat (MIT) counts them, and what it makes of them: the grade of Flesch and Kincaid
  in English, and the reading ease with the weights of Kandel and Moles in French.

A number or name that is put in later is taken as the word 'dix', 'ten': one syllable.
"""

import json
import math
import re
import sys
import tomllib
from collections import defaultdict
from pathlib import Path

import simplemma
import textstat
from wordfreq import get_frequency_dict

ROOT = Path(__file__).resolve().parents[2]
SCREEN = ("message", "good", "side", "summary", "replay")
PAGE = (
    ("export.next", None),
    ("export.well", ("in_band", "better")),
    ("export.section", ("next",)),
)
# Imperatives and participles that simplemma takes for nouns of their own, and who skates.
BASE = {
    "en": {"skater": "skate", "skaters": "skate", "skating": "skate"},
    "fr": {
        "plie": "plier", "plié": "plier", "ralenti": "ralentir",
    },
}
CUES = ("cue", "cue_more", "cue_less", "name")


def texts_of(catalogue):
    """The child's short texts and sentences, by their keys."""
    short, long = {}, {}
    for table in SCREEN:
        for key, text in catalogue["screen"][table].items():
            short[f"screen.{table}.{key}"] = text
    for rule, texts in catalogue["rules"].items():
        for key in CUES:
            if key in texts:
                short[f"rules.{rule}.{key}"] = texts[key]
    for table, keys in PAGE:
        first, second = table.split(".")
        for key, text in catalogue[first][second].items():
            if keys is None or key in keys:
                long[f"{table}.{key}"] = text
    return short, long


def families(code):
    """Frequency of all forms of a word together, by its base form."""
    shares = defaultdict(float)
    for word, share in get_frequency_dict(code).items():
        # A form below one in a hundred million adds nothing that is seen.
        if share >= 1e-8 and word.isalpha():
            shares[base_of(word, code)] += share
    return {base: math.log10(share * 1e9) for base, share in shares.items()}


def base_of(word, code):
    return BASE[code].get(word) or simplemma.lemmatize(word, lang=code).lower()


def main():
    out = {}
    for code, filler in (("en", "ten"), ("fr", "dix")):
        catalogue = tomllib.loads((ROOT / "lang" / f"{code}.toml").read_text())
        short, long = texts_of(catalogue)
        zipf = families(code)
        words = {}
        for text in short.values():
            text = re.sub(r"\{\w+\}", " ", text).lower()
            for word in re.findall(r"[^\W\d_]+", text):
                words[word] = round(zipf.get(base_of(word, code), 0.0), 2)
        textstat.set_lang(code)
        rows = {}
        for key, text in long.items():
            filled = re.sub(r"\{\w+\}", filler, text)
            easy = textstat.flesch_kincaid_grade if code == "en" else textstat.flesch_reading_ease
            rows[key] = {
                "text": text,
                "words": textstat.lexicon_count(filled),
                "sentences": textstat.sentence_count(filled),
                "syllables": textstat.syllable_count(filled),
                "says": round(easy(filled), 2),
            }
        out[code] = {"words": dict(sorted(words.items())), "texts": rows}
    Path(sys.argv[1]).write_text(json.dumps(out, ensure_ascii=False, indent=1) + "\n")


if __name__ == "__main__":
    main()
