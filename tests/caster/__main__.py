"""Random scenes against counted rays for as long as asked: `python -m tests.caster --seconds 600 [--words] [kind ...]`.

One JSON line a scene in `--out FILE`; a summary a kind at the end. A fresh first seed is taken and printed where none is given.
"""

from __future__ import annotations

import argparse
import json
import secrets
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.caster.campaign import one
from tests.caster.kinds import EVERYTHING, KINDS


def main():
    """Run the kinds in turn and print what came out."""
    ask = argparse.ArgumentParser(prog="python -m tests.caster", description=__doc__)
    ask.add_argument("kinds", nargs="*", default=[*KINDS, EVERYTHING], metavar="kind", help=", ".join([*KINDS, EVERYTHING]))
    ask.add_argument("--seconds", type=float, default=60.0)
    ask.add_argument("--first", type=int, default=None)
    ask.add_argument("--words", action="store_true", help="check's verdicts as well")
    ask.add_argument("--out", type=Path, default=None)
    wanted = ask.parse_args()
    seed = secrets.randbelow(10**8) if wanted.first is None else wanted.first
    print(f"first seed {seed}", flush=True)
    until, rows = time.monotonic() + wanted.seconds, []
    with tempfile.TemporaryDirectory() as folder:
        while time.monotonic() < until:
            for kind in wanted.kinds:
                row = one(kind, seed, Path(folder), words=wanted.words)
                rows.append(row)
                if wanted.out:
                    with wanted.out.open("a") as file:
                        file.write(json.dumps(row) + "\n")
                if row["wrong"]:
                    print(json.dumps(row), flush=True)
            seed += 1
    for kind in wanted.kinds:
        print(summary(kind, [row for row in rows if row["kind"] == kind]))


def summary(kind, rows):
    """A line of counts."""
    guides = [guide for row in rows for guide in row["guides"]]
    wrong = {word: sum(word in row["wrong"] for row in rows) for word in ("clear", "margin", "sign", "word", "loss too small")}
    seconds = np.array([guide["s"] for guide in guides] or [0.0])
    faults, clear = sum(bool(row.get("faults")) for row in rows), sum(guide["clear"] for guide in guides)
    clean, strict = sum(guide["lost"] == 0 for guide in guides), sum(guide.get("strict", False) for guide in guides)
    return (
        f"{kind}: {len(rows)} scenes, {sum('refused' in row for row in rows)} refused, {faults} with faults, {len(guides)} guides, "
        f"{clear} called clear, {clean} lose nothing, {strict} told too strictly, wrong {wrong}, "
        f"judge {1000 * seconds.mean():.0f} ms mean, {1000 * np.median(seconds):.0f} median"
    )


if __name__ == "__main__":
    main()
