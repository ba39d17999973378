"""What a check costs, this tree against another one in the same run: a state's judgement, whole commands, imports, memory.

    git worktree add /tmp/before 0f64ccf
    python -m benchmarks.bench_check /tmp/before

Each figure is taken in a process of its own, in turns, and the best of the rounds counts. Processor time is told beside waiting:
on a machine that others use too only that can be compared.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

ROUNDS = 2
DEMO = "scenes/demo/demo.toml"
JUDGED = """
import json, sys, time
from pathlib import Path
from raytrace.judge.judgement import judge
from scenes.states.judgement import without_glass
from scenes.states.load import load_scene, plans_of
plans = plans_of(load_scene(Path("scenes/demo/demo.toml")))
def all_of(plan):
    for guide in plan.guides[:1]:
        judge(plan.variants, guide, plan.box)
        judge(plan.variants, guide, without_glass(plan.box), margin=False)
all_of(plans[0])
times = []
for plan in plans:
    start = time.process_time(); all_of(plan); times.append(time.process_time() - start)
times.sort()
print(json.dumps([1000 * sum(times) / len(times), 1000 * times[len(times) // 2]]))
"""
LOADED = "from scenes.questions.check.one_state import load_libraries\nload_libraries('coverage')"


WRAPPED = """
import json, resource, subprocess, sys, time
start = time.perf_counter()
done = subprocess.run([sys.executable, *sys.argv[1:]], capture_output=True, text=True, check=False)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(json.dumps([time.perf_counter() - start, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, done.stdout]))
"""


def run(tree: Path, *arguments: str) -> tuple[float, float, float, str]:
    """Waiting and processor time [s], memory of its largest process at most [MB] and output of Python in a tree."""
    environment = {**os.environ, "PYTHONPATH": str(tree)}
    words = [sys.executable, "-c", WRAPPED, *arguments]  # a process in between, for the system adds up all children there ever were
    told = json.loads(subprocess.run(words, cwd=tree, env=environment, capture_output=True, text=True, check=True).stdout)
    return told[0], told[1], told[2], told[3]


def judged(tree: Path) -> Iterator[tuple[str, float]]:
    """Mean and median of a state's judgement: the demo's first guide, glass in with its margin, glass out without."""
    mean_ms, median_ms = json.loads(run(tree, "-c", JUDGED)[3])
    yield "a state's judgement, mean, processor [ms]", mean_ms
    yield "the same, median [ms]", median_ms


def command(*words: str) -> Callable[[Path], Iterator[tuple[str, float]]]:
    """Waiting, processor time and memory of a command."""

    def measured(tree: Path) -> Iterator[tuple[str, float]]:
        waited, used, memory_mb, _ = run(tree, "-m", "scenes.cli", *words)
        name = f"`{' '.join(word for word in words if word != DEMO)}`"
        yield f"{name}, waiting [s]", waited
        yield f"{name}, processor [s]", used
        yield f"{name}, memory of its largest process [MB]", memory_mb

    return measured


def imports(tree: Path) -> Iterator[tuple[str, float]]:
    """Processor time of loading what a check loads."""
    yield "imports of a check, processor [s]", run(tree, "-c", LOADED)[1]


FIGURES = (judged, imports, command("check", DEMO, "--no-pictures"), command("masks", DEMO))


def main(other: Path, rounds: int) -> None:
    """Print the table."""
    trees = {"before": other, "now": Path(__file__).resolve().parents[1]}
    best: dict[tuple[str, str], float] = {}
    for figure in FIGURES:
        for _ in range(rounds):
            for when, tree in trees.items():
                for name, value in figure(tree):
                    best[name, when] = min(value, best.get((name, when), value))
    print("| figure | before | now | ratio |\n|---|---|---|---|")
    for name in dict.fromkeys(name for name, _ in best):
        before, now = best[name, "before"], best[name, "now"]
        print(f"| {name} | {before:.3g} | {now:.3g} | {before / now:.2g} |")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else ROUNDS)
