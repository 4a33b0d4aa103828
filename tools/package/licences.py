#!/usr/bin/env python3
"""The licences of the libraries that are compiled into the program, as one text.

    tools/package/licences.py < METADATA > LIBRARIES

METADATA is what `cargo metadata --format-version 1 --filter-platform TARGET` prints.
Lists each library that the program `kickplate` is linked with (not those that only
build or test it) with version and licence, then each licence file in their sources
once, with the libraries it came with. Only the standard library is used.
"""

import collections
import json
import pathlib
import sys

WANTED = ("licen", "copying", "notice", "copyright", "unlicense")


def linked(metadata):
    """Ids of what `kickplate` is linked with, itself and its workspace left out."""
    nodes = {node["id"]: node for node in metadata["resolve"]["nodes"]}
    own = set(metadata["workspace_members"])
    packages = {p["id"]: p for p in metadata["packages"]}
    start = next(i for i in own if packages[i]["name"] == "kickplate")
    seen, waiting = {start}, [start]
    while waiting:
        for dep in nodes[waiting.pop()]["deps"]:
            if any(kind["kind"] is None for kind in dep["dep_kinds"]) and dep["pkg"] not in seen:
                seen.add(dep["pkg"])
                waiting.append(dep["pkg"])
    chosen = [packages[i] for i in seen - own]
    return sorted(chosen, key=lambda p: (p["name"], p["version"]))


def texts(package):
    folder = pathlib.Path(package["manifest_path"]).parent
    for path in sorted(folder.iterdir()):
        if path.is_file() and path.name.lower().startswith(WANTED):
            yield path.read_text(encoding="utf-8", errors="replace").strip()


def main():
    packages = linked(json.load(sys.stdin))
    came_with = collections.OrderedDict()
    print("Libraries compiled into Kickplate\n")
    for package in packages:
        name = f'{package["name"]} {package["version"]}'
        licence = package["license"] or f'see {package["license_file"]}'
        print(f"{name}: {licence}")
        for text in texts(package):
            came_with.setdefault(text, []).append(name)
    print("\nTheir licence files, each once")
    for text, names in came_with.items():
        print("\n" + "-" * 72 + "\nof " + ", ".join(names) + "\n\n" + text)


if __name__ == "__main__":
    main()
