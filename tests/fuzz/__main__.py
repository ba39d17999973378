"""Feed the readers with damaged input for as long as asked: `python -m tests.fuzz --seconds 3600 [--seed N] [toml mesh dxf ...]`.

A fresh seed is taken and printed; an input that ends otherwise than in a value or a sentence is kept in the temporary folder.
"""

from __future__ import annotations

import argparse
import random
import secrets
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path

import click

from tests.fuzz.targets import TARGETS, mutated, outcome

SLOWEST_S = 10.0  # of a processor for one input: on a machine that others use too the clock says nothing


def fuzzed(name: str, seconds: float, seed: int) -> tuple[Counter[str], list[str]]:
    """How inputs of one target ended within that time, and what went wrong."""
    target, rng = TARGETS[name](), random.Random(f"{name} {seed}")
    ends: Counter[str] = Counter()
    wrong: list[str] = []
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        kind, whole = rng.choice(target.seeds)
        data, began = mutated(whole, target.scraps, rng), time.process_time()
        try:
            ends[outcome(target, kind, data)] += 1
        except Exception:  # noqa: BLE001 - that is what is looked for
            ends["wrong"] += 1
            wrong.append(f"{_kept(name, kind, data)}: {traceback.format_exc()}")
        took_s = time.process_time() - began
        if took_s > SLOWEST_S:
            ends["slow"] += 1
            wrong.append(f"{_kept(name, kind, data)}: took {took_s:.0f} s")
    return ends, wrong


def _kept(name: str, kind: str, data: bytes) -> Path:
    with tempfile.NamedTemporaryFile(prefix=f"fuzz-{name}-", suffix=f".{kind}", delete=False) as stream:
        stream.write(data)
    return Path(stream.name)


def main() -> int:
    """Fuzz the targets in turn; 1 where anything ended wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("targets", nargs="*", choices=[*TARGETS, []], metavar="target", help=", ".join(TARGETS))
    parser.add_argument("--seconds", type=float, default=60.0, help="for each target")
    parser.add_argument("--seed", type=int, default=secrets.randbelow(10**9))
    asked = parser.parse_args()
    click.echo(f"seed {asked.seed}")
    warnings.simplefilter("ignore")
    bad = False
    for name in asked.targets or TARGETS:
        ends, wrong = fuzzed(name, asked.seconds, asked.seed)
        click.echo("\n".join([f"{name}: {sum(ends.values())} inputs, {dict(ends)}", *wrong]))
        bad = bad or bool(wrong)
    return int(bad)


if __name__ == "__main__":
    sys.exit(main())
