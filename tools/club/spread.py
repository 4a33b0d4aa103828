#!/usr/bin/env python3
"""Spreads `kickplate review` and `kickplate rejudge` over several machines with Dask.

    spread.py review FOLDER --lane LANE.toml --age-group GROUP --out DIR [--model M] [--engine E]
    spread.py rejudge RINK... --out DIR [--apply]

Without --scheduler two workers are started on this machine (--workers). docs/club.md says
how to set up others; all of them see the folders under the same path and have the same
version of the program.

A job is one recording, or one rink's recordings. Its result is written by the program,
whole or not at all; a result that is there and fits is not made again. While a job runs its
lock is held, so that two machines never do one job at a time. When a worker is lost, its
job is given to another one.

Exit codes: 0 done, 1 something could not be done, 2 what was given has to be changed.
"""

import argparse
import ctypes
import fcntl
import hashlib
import json
import os
import pathlib
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib

VIDEOS = {".mp4", ".m4v", ".mov", ".mkv", ".webm", ".avi"}
ROOMS = ("models", "sounds", "lang")
LOCK_WAIT_S = 900
LOOK_EVERY_S = 0.5
# Linux, prctl(2): the signal a child gets when whoever started it dies.
PR_SET_PDEATHSIG = 1


class Wrong(Exception):
    """What was given has to be changed; one sentence."""


def version_of(program):
    """The first lines of `--version`: version and commit."""
    said = subprocess.run([program, "--version"], capture_output=True, text=True, timeout=60, check=True)
    return said.stdout.split("\n\n")[0].strip()


class Lock:
    """Held by this worker and by the program it starts: where the worker is killed and its
    program lives on, the job stays locked until that ends as well."""

    def __init__(self, path):
        self.file = open(path, "a")
        os.chmod(path, 0o600)

    def __enter__(self):
        until = time.monotonic() + LOCK_WAIT_S
        while True:
            try:
                fcntl.flock(self.file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return self.file.fileno()
            except BlockingIOError:
                if time.monotonic() > until:
                    raise TimeoutError(f"'{self.file.name}' is still locked by another machine") from None
                time.sleep(LOOK_EVERY_S)

    def __exit__(self, *_):
        # Not unlocked: that would take it from a program that still holds it.
        self.file.close()


def run(command, lock, env):
    """What the program said. Where it was killed the job is tried once more elsewhere."""
    # Found before the fork; a reference to it cannot travel from machine to machine.
    prctl = ctypes.CDLL(None).prctl
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env={**os.environ, **env},
                             pass_fds=(lock,), preexec_fn=lambda: prctl(PR_SET_PDEATHSIG, signal.SIGKILL))
    said, complained = child.communicate()
    if child.returncode < 0:
        raise RuntimeError(f"the program was ended by signal {-child.returncode}")
    return child.returncode, said, complained


def same_program(job):
    here = version_of(job["program"])
    if here != job["version"]:
        raise RuntimeError(f"another version of the program is installed on {os.uname().nodename}: {here}")


def review_job(job):
    """One recording, as a folder of one: so the program itself knows what it has judged."""
    same_program(job)
    out = pathlib.Path(job["out"])
    with Lock(out / f".{job['name']}.lock") as lock, tempfile.TemporaryDirectory() as links:
        for file in job["files"]:
            (pathlib.Path(links) / pathlib.Path(file).name).symlink_to(file)
        place = out / job["name"]
        command = [job["program"], "review", links, "--out", str(place), *job["words"]]
        code, said, complained = run(command, lock, {"KICKPLATE_HOME": job["home"]})
    there = code == 0 and "was judged before" in said
    why = "" if code == 0 else reason(said) or reason(complained)
    return {"code": code, "there": there, "why": why, "by": os.getpid()}


def reason(text):
    """The indented line below a row of the table, or else the last line."""
    lines = [line for line in text.splitlines() if line.strip()]
    notes = [line for line in lines if line.startswith("    ")]
    return (notes or lines or [""])[-1].strip()


def fits_rejudge(job, data):
    """What the judgements of a rink depend on: program, settings, everything stored."""
    digest = hashlib.sha256(json.dumps([job["version"], job["words"]]).encode())
    files = sorted(pathlib.Path(job["config"]).glob("*.toml")) + sorted(data.glob("sessions.sqlite3*"))
    for file in files:
        # The index of the journal is of the moment, and an empty journal says nothing.
        if file.name.endswith("-shm") or file.stat().st_size == 0:
            continue
        digest.update(file.name.encode())
        with open(file, "rb") as content:
            while block := content.read(1 << 20):
                digest.update(block)
    return digest.hexdigest()


def rejudge_job(job):
    """One rink, with its own settings."""
    same_program(job)
    data, result = pathlib.Path(job["data"]), pathlib.Path(job["out"]) / f"{job['name']}.json"
    with Lock(data.parent / ".rejudge.lock") as lock, tempfile.TemporaryDirectory() as home:
        try:
            before = json.loads(result.read_text())
        except (OSError, ValueError):
            before = {}
        if before.get("fits") == fits_rejudge(job, data):
            return {"code": 0, "there": True, "why": "", "by": os.getpid()}
        for room in ROOMS:
            (pathlib.Path(home) / room).symlink_to(pathlib.Path(job["home"]) / room)
        (pathlib.Path(home) / "config").symlink_to(job["config"])
        (pathlib.Path(home) / "kickplate").symlink_to(data)
        env = {"KICKPLATE_HOME": home, "XDG_DATA_HOME": home}
        code, said, complained = run([job["program"], "rejudge", *job["words"]], lock, env)
        if code == 0:
            write_whole(result, json.dumps({"fits": fits_rejudge(job, data), "said": said.splitlines()}, indent=1))
    return {"code": code, "there": False, "why": "" if code == 0 else reason(complained), "by": os.getpid()}


def write_whole(path, text):
    with tempfile.NamedTemporaryFile("w", dir=path.parent, prefix=".", delete=False) as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    os.replace(file.name, path)


def review_jobs(options, common):
    if not options.folder.is_dir():
        raise Wrong(f"there is no folder '{options.folder}': check the spelling of the path")
    if not options.lane.is_file():
        raise Wrong(f"there is no lane file '{options.lane}': check the spelling of the path")
    videos = sorted(file for file in options.folder.iterdir()
                    if file.suffix.lower() in VIDEOS and file.is_file() and not file.name.startswith("."))
    if not videos:
        raise Wrong(f"there is no video in '{options.folder}'")
    words = ["--lane", str(options.lane.resolve()), "--age-group", options.age_group]
    words += ["--model", options.model, "--engine", options.engine]
    if options.replace:
        words.append("--replace")
    jobs = {}
    for video in videos:
        if video.stem in jobs:
            raise Wrong(f"the results of two videos would go into one folder '{video.stem}'; rename one of them")
        own = video.with_suffix(".toml")
        files = [str(file.resolve()) for file in (video, own) if file.is_file()]
        jobs[video.stem] = {**common, "name": video.stem, "files": files, "words": words}
    return review_job, jobs


def rejudge_jobs(options, common):
    jobs = {}
    for rink in options.rinks:
        data, config = rink.resolve() / "recordings", rink.resolve() / "config"
        if not (data / "sessions.sqlite3").is_file():
            raise Wrong(f"'{rink}' has no recordings: 'recordings/sessions.sqlite3' is not in it")
        if not (config / "age-groups.toml").is_file():
            raise Wrong(f"'{rink}' has no limits of its own: 'config/age-groups.toml' is not in it")
        try:
            station = tomllib.loads((config / "station.toml").read_text()) if (config / "station.toml").exists() else {}
        except (OSError, ValueError) as error:
            raise Wrong(f"'{config / 'station.toml'}' cannot be read: {error}") from None
        if "sessions_folder" in station:
            raise Wrong(f"'{config / 'station.toml'}' names another folder for its recordings; take sessions_folder out of this copy")
        if rink.resolve().name in jobs:
            raise Wrong(f"two rinks are called '{rink.resolve().name}'; rename one of the folders")
        words = ["--apply"] if options.apply else []
        jobs[rink.resolve().name] = {**common, "name": rink.resolve().name, "data": str(data), "config": str(config), "words": words}
    return rejudge_job, jobs


def read_words(words):
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    kinds = parser.add_subparsers(required=True, metavar="review|rejudge")
    review = kinds.add_parser("review", help="recorded videos, each a job")
    review.add_argument("folder", type=pathlib.Path)
    review.add_argument("--lane", type=pathlib.Path, required=True)
    review.add_argument("--age-group", required=True)
    review.add_argument("--model", default="full")
    review.add_argument("--engine", default="auto")
    review.add_argument("--replace", action="store_true", help="also where a folder holds the result of another video")
    review.set_defaults(jobs=review_jobs)
    rejudge = kinds.add_parser("rejudge", help="recordings of several rinks, each a job")
    rejudge.add_argument("rinks", type=pathlib.Path, nargs="+", metavar="RINK",
                         help="a folder with 'recordings' and 'config', as a backup is when it is unpacked")
    rejudge.add_argument("--apply", action="store_true", help="writes it; without it only what would change is said")
    rejudge.set_defaults(jobs=rejudge_jobs)
    for kind in (review, rejudge):
        kind.add_argument("--out", type=pathlib.Path, required=True, help="folder for the results")
        kind.add_argument("--program", default="kickplate", help="the program, at the same place on every machine")
        kind.add_argument("--home", type=pathlib.Path, default=os.environ.get("KICKPLATE_HOME", "/usr/share/kickplate"),
                          help="the folder with models, sounds and lang")
        where = kind.add_mutually_exclusive_group()
        where.add_argument("--scheduler", help="address of a running scheduler, as tcp://10.0.0.2:8786")
        where.add_argument("--workers", type=int, default=2, help="workers on this machine (2)")
    return parser.parse_args(words)


def prepared(options):
    program = shutil.which(options.program)
    if program is None:
        raise Wrong(f"there is no program '{options.program}'; name it with --program")
    home = pathlib.Path(options.home).resolve()
    if missing := [room for room in ROOMS if not (home / room).is_dir()]:
        raise Wrong(f"'{home}' has no folder '{missing[0]}'; name the folder that has models, sounds and lang with --home")
    if options.workers < 1:
        raise Wrong("--workers has to be 1 or more")
    try:
        options.out.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise Wrong(f"the folder '{options.out}' cannot be made ({error.strerror}); choose another with --out") from None
    program = os.path.abspath(program)
    common = {"program": program, "version": version_of(program), "home": str(home), "out": str(options.out.resolve())}
    return options.jobs(options, common)


def spread(options, work, jobs):
    from distributed import Client, LocalCluster, as_completed

    if options.scheduler:
        try:
            client = Client(options.scheduler, timeout=10)
        except (OSError, ValueError):
            raise Wrong(f"no scheduler answers at {options.scheduler}; start one with 'dask scheduler'") from None
    else:
        client = Client(LocalCluster(n_workers=options.workers, threads_per_worker=1, dashboard_address=None))
    done, failed, there = 0, 0, 0
    with client:
        # A name of its own for each job: the scheduler never has one twice.
        futures = {client.submit(work, job, key=f"{work.__name__}-{job['out']}-{name}", retries=2): name
                   for name, job in jobs.items()}
        for future in as_completed(futures):
            name = futures[future]
            done += 1
            try:
                told = future.result()
            except Exception as error:
                told = {"code": 1, "there": False, "why": str(error), "by": "nobody"}
            failed += told["code"] != 0
            there += told["there"]
            what = told["why"] if told["code"] else "was done before" if told["there"] else f"done by worker {told['by']}"
            print(f"{done} of {len(jobs)}: {name}: {what}", flush=True)
    if not options.scheduler:
        client.cluster.close()
    print(f"{len(jobs)} jobs: {done - failed - there} done, {there} done before, {failed} failed.")
    return 1 if failed else 0


def main():
    options = read_words(sys.argv[1:])
    try:
        return spread(options, *prepared(options))
    except Wrong as error:
        print(f"spread.py: {error}", file=sys.stderr)
        return 2


if __name__ == "__main__":
    sys.exit(main())
