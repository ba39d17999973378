"""A whole `brimline check` of ten lenses and forty states, in processes of its own: where its wall time goes, imports apart."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path
from time import perf_counter

SHOW = Path(__file__).parents[1] / "scenes" / "demo" / "demo.toml"
SHOWN = ("24", "35", "50", "100 anamorphic")  # of the demo's lenses; each lens has two focus distances and two stops
ADDED_MM = (28, 32, 40, 65, 75, 85)
MODULES = (
    "scenes.questions.check.run",
    "scenes.questions.check.output_folder",
    "scenes.questions.check.map_sheet",
    "raytrace.coverage.picture",
)
IMPORTS = "import " + ", ".join(MODULES)
FLAGS = {"verdicts and maps": ("--no-pictures",), "with heatmaps and sheets": ("--no-3d",), "with 3D pictures": ()}


def scene_text():
    """The demo show with six more invented primes."""
    text = SHOW.read_text()
    at = text.index("\n[box]")
    return text[:at] + "".join(_lens(mm) for mm in ADDED_MM) + text[at:]


def _lens(focal_mm):
    return (
        f'\n[[lens]]\nname = "{focal_mm}"\nfocal_mm = {focal_mm}\nf_number = 2.8\nfront_diameter_mm = 114\nfront_glass_mm = 104\n'
        f"front_to_sensor_mm = 175\npupil_behind_front_mm = 48\nclose_focus_mm = 500\n"
    )


def timed(*arguments):
    start = perf_counter()
    done = subprocess.run([sys.executable, *arguments], capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1):
        raise RuntimeError(done.stdout + done.stderr)
    return perf_counter() - start


def run_times():
    """Seconds (name, s): the imports of a run, then whole runs with ever more pictures; kernels are compiled beforehand."""
    with tempfile.TemporaryDirectory() as folder:
        scene = Path(folder) / "show.toml"
        scene.write_text(scene_text())
        command = ("-m", "scenes.cli", "check", str(scene), "--out", str(Path(folder) / "out"))
        timed(*command, "--no-pictures", "--pixels", "64", "--lens", "24")
        command += tuple(word for name in (*SHOWN, *map(str, ADDED_MM)) for word in ("--lens", name))
        found = [
            ("`brimline --help`", timed("-m", "scenes.cli", "--help")),
            ("imports of a check alone", timed("-c", IMPORTS)),
        ]
        found += [(f"40 states, {name}", timed(*command, *flags)) for name, flags in FLAGS.items()]
    return found


def run_table(found):
    rows = ["", "| whole run, two cores | wall time | a state |", "|---|---|---|"]
    for name, wall in found:
        rows.append(f"| {name} | {wall:.1f} s | {f'{wall / 40:.2f} s' if name.startswith('40') else ''} |")
    return rows
