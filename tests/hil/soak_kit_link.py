"""The kit's link client under libFuzzer: ``python tests/hil/soak_kit_link.py --runs N``.

What `fuzz_link.c` holds is held for so many sessions, and for as many of a board that may fire into
dummy loads, under the sanitizers for addresses and for undefined behaviour. What was found and how
far it has come is kept in a folder, so that a run that was ended at any moment goes on; for another
client it starts again, from what was found before. A session that shows a fault is the first that
is tried in the next run.
Without the tools it says so in one line, and fails under DRYCOUNT_NO_SKIP=1 only.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from click import echo
from firing_rig import SEQUENCE, WIRING
from fuzz_rig import HERE, build, permits, sessions, tampered
from kit_rig import LINK, SOURCES

from hil.layout_header import KIT
from sequencer.going_on import Progress, hash_of
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import load_sequence

PAD = demo_folder() / "pad.sequence.toml"
SLICE = 500_000
#: bytes of a list: most of the sessions that it begins with, whole
LONGEST = 600


def missing():
    """Debian's packages that are needed and not there."""
    clang = shutil.which("clang")
    if clang is None:
        return ["clang", "libclang-rt-dev (on Debian 12: libclang-rt-14-dev)"]
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder, "empty.c")
        source.write_text(
            "int LLVMFuzzerTestOneInput(void); int LLVMFuzzerTestOneInput(void) { return 0; }"
        )
        done = subprocess.run(
            [clang, "-fsanitize=fuzzer,address,undefined", "-o", source.with_suffix(""), source],
            capture_output=True,
            check=False,
        )
        if done.returncode == 0:
            return []
        version = subprocess.run(
            [clang, "-dumpversion"], capture_output=True, text=True, check=True
        )
        return [f"libclang-rt-{version.stdout.partition('.')[0]}-dev"]


def soak(name, sequence, drawn, runs, folder, wiring=None):
    """Fuzz the runs that `folder` does not know as done; whether nothing was found.

    drawn    sessions to begin with
    wiring   of a board that may fire into dummy loads
    """
    sources = sorted([*SOURCES, *LINK, *KIT.glob("**/*.h"), *HERE.glob("fuzz_*"), Path(__file__)])
    about = {"sources": hash_of(sources, HERE.parents[1], sequence.digest)}
    progress = Progress(folder / f"{name}.json", about)
    done = progress.read(echo)
    if done:
        echo(f"{min(done, runs)} of {runs} sessions have been tried; going on from there")
    corpus = folder / name
    corpus.mkdir(parents=True, exist_ok=True)
    whole = (b"".join(entries) for entries in drawn)
    for number, entries in enumerate((*whole, *tampered(drawn, 100, 3))):
        (corpus / f"drawn_{number}").write_bytes(entries)
    with tempfile.TemporaryDirectory() as build_folder:
        program = build(
            Path(build_folder),
            sequence,
            "clang",
            watched=["-fsanitize=fuzzer-no-link"],
            link=["-fsanitize=fuzzer"],
            wiring=wiring,
        )
        while done < runs:
            count = min(SLICE, runs - done)
            start = time.monotonic()
            command = [
                *(program, corpus, f"-runs={count}", f"-seed={done + 1}", f"-max_len={LONGEST}"),
                f"-artifact_prefix={corpus}/",
            ]
            ended = subprocess.run(command, stderr=subprocess.PIPE, text=True, check=False)
            if ended.returncode != 0:
                tell(ended.stderr)
                return False
            done += count
            progress.write(done)
            speed = count / (time.monotonic() - start)
            reached = re.findall(r"cov: (\d+)", ended.stderr)[-1]
            echo(f"{name}: {done} of {runs} sessions, {speed:.0f} a second, {reached} edges")
    echo(f"{name}: {runs} tampered sessions, none that the page does not say")
    return True


def tell(said):
    """What went wrong, and which file has the bytes that show it."""
    for line in said.splitlines():
        if any(word in line for word in ("is wrong", "ERROR", "runtime error", "written to")):
            echo(line)


def main():
    """The command line."""
    parser = argparse.ArgumentParser(prog="soak_kit_link.py", description=__doc__)
    parser.add_argument("--runs", type=int, default=10_000_000)
    parser.add_argument("--folder", type=Path, default=Path(".soak"))
    asked = parser.parse_args()
    lacking = missing()
    if lacking:
        echo(f"the link client was not fuzzed, for want of {', '.join(lacking)}", err=True)
        return int(os.environ.get("DRYCOUNT_NO_SKIP") == "1")
    pad = load_sequence(PAD)
    try:
        right = soak("kit_link", pad, sessions(pad), asked.runs, asked.folder)
        with tempfile.TemporaryDirectory() as folder:
            loads = Path(folder, "loads.sequence.toml")
            loads.write_text(SEQUENCE, encoding="utf-8")
            fires = load_sequence(loads)
        drawn = permits(fires, WIRING)
        right = right and soak("kit_permit", fires, drawn, asked.runs, asked.folder, WIRING)
    except OSError as error:
        parser.error(f"{asked.folder}: {(error.strerror or str(error)).lower()}")
    return 0 if right else 1


if __name__ == "__main__":
    sys.exit(main())
