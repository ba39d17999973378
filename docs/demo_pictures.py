"""Draws docs/pictures/demo-map.png, demo-box.png and demo-cut.png: pictures that `brimline check` makes of the demo show.

    python docs/demo_pictures.py        # from the top of the repository, with Brimline installed
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
STATES = (
    ("24", "24_at_450_f2.8", {"map.png": "demo-map.png"}),
    ("35", "35_at_450_f2.8", {"box.png": "demo-box.png", "cut-worst.png": "demo-cut.png"}),
)


def main() -> None:
    """Check the two states and copy the pictures."""
    with tempfile.TemporaryDirectory() as folder:
        for lens, state, names in STATES:
            out = Path(folder, lens)
            scene = str(ROOT / "scenes" / "demo" / "demo.toml")
            brimline(["check", scene, "--lens", lens, "--focus", "450", "--f-number", "2.8", "--no-range", "-q", "--out", str(out)])
            for made, kept in names.items():
                shutil.copyfile(out / state / made, PICTURES / kept)


if __name__ == "__main__":
    main()
