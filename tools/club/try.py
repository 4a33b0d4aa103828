#!/usr/bin/env python3
"""Tries spread.py with two workers on this machine, one of which is killed in its job.

    try.py PROGRAM [RECORDINGS...]

PROGRAM is a built `kickplate`, to be called in the project's folder. RECORDINGS are folders
with a `sessions.sqlite3` (as `cargo run --example club_dataset` writes them): copies of them
are the rinks that are judged again.

Eight clips, copies of the demo's: one plain run of the program; then the same with two
workers. Once a worker is in the middle of a recording it is killed (SIGKILL). The results
have to be those of the plain run; a second start has to make none of them again. The same
with the rinks. Ends with 1 where that is not so.
"""

import contextlib
import json
import os
import pathlib
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time

import psutil

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent
CLIPS = ("side-good", "side-faulty", "front-good", "front-child")
PATIENCE_S = 900


def main(program, recordings):
    with tempfile.TemporaryDirectory(prefix="kickplate-try-") as folder:
        folder = pathlib.Path(folder)
        os.environ["XDG_DATA_HOME"] = str(folder / "data")
        os.environ["KICKPLATE_HOME"] = str(ROOT)
        try_review(program, folder)
        if recordings:
            try_rejudge(program, folder, [pathlib.Path(r) for r in recordings])
    print("good: nothing lost, nothing twice")


def try_review(program, folder):
    clips = folder / "clips"
    clips.mkdir()
    for clip in CLIPS:
        for copy in "ab":
            for ending in ("mp4", "toml"):
                shutil.copy(ROOT / "demo" / f"{clip}.{ending}", clips / f"{clip}-{copy}.{ending}")
    words = ["--lane", str(ROOT / "demo/side-good.toml"), "--age-group", "adult"]
    plain, spread = folder / "plain", folder / "spread"
    call([program, "review", clips, "--out", plain, *words])
    order = ["review", clips, "--out", spread, *words]
    said, killed = with_a_kill(program, order, folder, "review")
    assert said.endswith("8 jobs: 8 done, 0 done before, 0 failed.\n"), said
    # Its recordings were done by somebody else.
    assert f"by worker {killed}\n" not in said.split("KILLED")[-1], said
    results = {file.parent.name: file for file in spread.glob("*/*/session.json")}
    wanted = {file.parent.name: file for file in plain.glob("*/session.json")}
    assert sorted(results) == sorted(wanted) and len(wanted) == 8, sorted(results)
    passes = 0
    for name, file in results.items():
        one, other = (json.loads(f.read_text()) for f in (file, wanted[name]))
        assert one == other, f"{name} differs"
        passes += len(one["passes"])
    leftovers = [f for f in spread.rglob("*") if f.is_file() and f.name not in ("session.json", "reviewed.json")
                 and not f.name.endswith(".lock")]
    assert not leftovers, leftovers
    print(f"review: 8 recordings with {passes} passes as in the plain run, worker {killed} killed in its job")
    before = {file: file.stat().st_mtime_ns for file in results.values()}
    said = call([sys.executable, HERE / "spread.py", *order, "--program", program])
    assert said.endswith("8 jobs: 0 done, 8 done before, 0 failed.\n"), said
    assert before == {file: file.stat().st_mtime_ns for file in before}, "a result was written again"
    print("review again: nothing was made again")


def try_rejudge(program, folder, recordings):
    plain, spread = [], []
    config = ROOT / "config/age-groups.toml"
    text = config.read_text()
    # Other limits, so that there is something to change.
    changed = re.sub(r"^(at_most_deg = )([0-9]+)$", lambda m: m[1] + str(int(m[2]) - 10), text, flags=re.M)
    assert changed != text
    for home, rinks in (("plain-rinks", plain), ("spread-rinks", spread)):
        for source in recordings:
            rink = folder / home / source.name
            shutil.copytree(source, rink / "recordings")
            (rink / "config").mkdir()
            (rink / "config/age-groups.toml").write_text(changed)
            rinks.append(rink)
    tables = {}
    for rink in plain:
        home = folder / f"home-{rink.name}"
        home.mkdir()
        for room in ("models", "sounds", "lang"):
            (home / room).symlink_to(ROOT / room)
        (home / "config").symlink_to(rink / "config")
        (home / "kickplate").symlink_to(rink / "recordings")
        env = {**os.environ, "KICKPLATE_HOME": str(home), "XDG_DATA_HOME": str(home)}
        tables[rink.name] = call([program, "rejudge", "--apply"], env=env).splitlines()
    out = folder / "rejudged"
    order = ["rejudge", *spread, "--out", out, "--apply"]
    said, killed = with_a_kill(program, order, folder, "rejudge")
    assert f"{len(spread)} jobs: {len(spread)} done, 0 done before, 0 failed.\n" in said, said
    changed = 0
    for one, other in zip(plain, spread):
        a, b = judgements(one), judgements(other)
        assert a == b, f"{one.name} differs"
        changed += len(a["earlier_judgements"])
    assert changed > 0, "nothing had to be judged anew: the try says nothing"
    print(f"rejudge: {len(spread)} rinks as after plain runs, {changed} passes changed once each, worker {killed} killed in its job")
    said = call([sys.executable, HERE / "spread.py", *order, "--program", program])
    assert f"0 done, {len(spread)} done before" in said, said
    assert all(judgements(a) == judgements(b) for a, b in zip(plain, spread))
    print("rejudge again: nothing was made again")


def judgements(rink):
    """What stands in a rink's file, without the moment at which it was replaced."""
    with contextlib.closing(sqlite3.connect(rink / "recordings/sessions.sqlite3")) as file:
        names = [n for (n,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
        told = {}
        for name in names:
            columns = [c[1] for c in file.execute(f"PRAGMA table_info({name})") if c[1] not in ("replaced_at", "at")]
            told[name] = sorted(map(repr, file.execute(f"SELECT {', '.join(columns)} FROM {name}"))) if columns else []
    return told


def with_a_kill(program, order, folder, verb):
    """Two workers, one of them killed once its program has run for a moment."""
    port = free_port()
    address = f"tcp://127.0.0.1:{port}"
    started = []
    start = lambda words: started.append(subprocess.Popen(list(map(str, words)), cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)) or started[-1]
    try:
        start([sys.executable, "-m", "dask", "scheduler", "--host", "127.0.0.1", "--port", port, "--no-dashboard"])
        workers = [start([sys.executable, "-m", "dask", "worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"]) for _ in range(2)]
        spread = subprocess.Popen(list(map(str, [sys.executable, HERE / "spread.py", *order, "--program", program, "--scheduler", address])),
                                  stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        started.append(spread)
        until = time.monotonic() + PATIENCE_S
        victim = None
        while victim is None:
            assert spread.poll() is None and time.monotonic() < until, "no worker was caught in a job:\n" + spread.stdout.read()
            time.sleep(0.02)
            for worker in workers:
                for child in psutil.Process(worker.pid).children():
                    try:
                        # Past its start: reading or judging, by its time on the processor.
                        busy = verb in child.cmdline() and sum(child.cpu_times()[:2]) > (1.0 if verb == "review" else 0.05)
                    except psutil.Error:
                        continue
                    if busy:
                        victim = (worker, child)
                        break
        worker, child = victim
        worker.send_signal(signal.SIGKILL)
        worker.wait()
        child.wait(timeout=30)
        said = spread.communicate(timeout=PATIENCE_S)[0]
        assert spread.returncode == 0, said
        return said, worker.pid
    finally:
        for process in started:
            if process.poll() is None:
                process.kill()
            process.wait()


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def call(words, env=None):
    done = subprocess.run(list(map(str, words)), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env, timeout=PATIENCE_S)
    assert done.returncode == 0, (words, done.stdout, done.stderr)
    return done.stdout


if __name__ == "__main__":
    main(os.path.abspath(sys.argv[1]), sys.argv[2:])
