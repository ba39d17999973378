"""Draws the pictures of the README and the first page of the docs: those that the program makes of the demo show.

python docs/demo_pictures.py            # from the top of the repository, with Brimline installed
python docs/demo_pictures.py flags sun  # only those of these commands
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from scenes.cli import main as brimline  # noqa: E402

PICTURES = ROOT / "docs" / "pictures"
DEMO = ROOT / "scenes" / "demo" / "demo.toml"
ONE_STATE = ("--focus", "450", "--f-number", "2.8", "--no-range", "-q")
RUNS = (  # command and options, then each file that it makes and what it is called here
    (("check", "--lens", "24", *ONE_STATE), {"24_at_450_f2.8/map.png": "demo-map.png"}),
    (
        ("check", "--lens", "35", *ONE_STATE),
        {"35_at_450_f2.8/box.png": "demo-box.png", "35_at_450_f2.8/cut-worst.png": "demo-cut.png"},
    ),
    (("flags", "--lens", "24", "--focus", "infinity"), {"flag-right-flag.png": "demo-flags.png"}),
    (("sun", "--lens", "24", "--focus", "infinity"), {"sun-24_inf_f2.8.png": "demo-sun.png"}),
)


def main(commands: list[str]) -> None:
    """Run the commands and copy the pictures."""
    with tempfile.TemporaryDirectory() as folder:
        for number, ((command, *options), names) in enumerate(RUNS):
            if commands and command not in commands:
                continue
            out = Path(folder, str(number))
            brimline([command, str(DEMO), *options, "--out", str(out)])
            for made, kept in names.items():
                shutil.copyfile(out / made, PICTURES / kept)


if __name__ == "__main__":
    main(sys.argv[1:])
