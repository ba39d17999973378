"""Whether proofs of clear frames hold: planes with all rays of a guide on one side, and all of a part on the other.

Shares no code with what made them: reads the scene (plain_scene) and traces the light (rays) by itself.

    python -m scenes.proof.verify SCENE PROOF

What a proof's numbers mean: docs/results.md, "Proofs".
"""

from __future__ import annotations

import json
import math
import sys
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scenes.proof.coverage import is_asked, missing_file, not_spoken_of
from scenes.proof.errors import NotProvableError, RefusedError
from scenes.proof.known_keys import unknown_key
from scenes.proof.plain_scene import ENDLESS_MM, Loop, Part, Plate, Setting, Table, setting_of
from scenes.proof.rays import Rays, pupils_of

FloatArray = NDArray[np.float64]
Ends = tuple[tuple[float, int], ...]  # z of a plane, and how many filters the rays there have passed

NAME = "proof.json"
CIRCLE_SIDES = 32  # of a polygon inside a round filter
SHARES = (1.0, 0.75, 0.5, 0.25, 0.0)  # of the way from front ring to pupil: all light through both passes a disc there
FAR_MM = 1e6
SAME = 1e-9
PROVED, REFUSED, ALONE = "proved", "refused", "rests on the judgement alone"


@dataclass(frozen=True, slots=True)
class Finding:
    """What the verifier says of one guide of a state: a word, the room [mm] in which no part stands, and why it is not proved."""

    state: str
    guide: str
    word: str
    room_mm: float
    why: str

    @property
    def line(self) -> str:
        """One line for people."""
        told = f"no part nearer than {self.room_mm:.2f} mm" if self.word == PROVED else self.why
        return f"{self.state}, {self.guide}: {self.word}{', ' if self.word == PROVED else ': '}{told}"


# ---- legs ----


def corners_of(plate: Plate) -> FloatArray:
    """Corners (8, 3) of a box that holds all light inside a filter: it runs no farther along the faces than Snell's law lets it."""
    signs, run = np.array(list(product((-1, 1), repeat=3))), plate.thickness / math.sqrt(plate.index**2 - 1.0)
    half = np.array([plate.half[0] + run, plate.half[1] + run, plate.thickness / 2])
    return np.asarray(plate.centre + (signs * half) @ plate.axes.T)


def legs_of(plates: Sequence[Plate], start: float, end: float, cuts: Sequence[float]) -> tuple[list[Ends], list[Ends]]:
    """Legs between planes across the axis, which hold every ray by their ends; and the planes about each filter, before it.

    From plane to plane a ray lies between the straight lines that it follows before and behind the filters there.
    """
    legs: list[Ends] = []
    around: list[Ends] = []
    at, passed = start, 0
    for group in groups_of(plates):
        spans, after = [corners_of(plate)[:, 2] for plate in group], passed + len(group)
        low, high = float(np.min(spans)), float(np.max(spans))
        legs += runs(at, low, cuts, passed)
        square = len(group) == 1 and abs(group[0].axes[2, 2]) > 1.0 - 1e-14
        legs.append(((low, passed), (high, after)) if square else tuple(product((low, high), range(passed, after + 1))))
        around += [((low, k), (high, k)) for k in range(passed, after)]
        at, passed = high, after
    legs += runs(at, end, cuts, passed)
    if not all(leg[0][0] < leg[-1][0] for leg in legs):
        raise RefusedError("its legs do not follow one another")
    return legs, around


def groups_of(plates: Sequence[Plate]) -> list[list[Plate]]:
    """Filters in the order of light, those together whose places along the axis overlap."""
    groups: list[list[Plate]] = []
    for plate in plates:
        corners = corners_of(plate)
        if not groups or corners[:, 2].min() >= max(float(corners_of(other)[:, 2].max()) for other in groups[-1]):
            groups.append([plate])
            continue
        for other in groups[-1]:
            if ((corners - other.centre) @ other.axes[:, 2]).min() < other.thickness / 2:
                raise NotProvableError("filters lean into one another's place")
        groups[-1].append(plate)
    return groups


def runs(start: float, end: float, cuts: Sequence[float], passed: int) -> list[Ends]:
    """Legs in air from plane to plane."""
    return [((a, passed), (b, passed)) for a, b in pairwise([start, *(cut for cut in cuts if start < cut < end), end])]


def behind(rays: Rays, ends: Ends, normals: FloatArray, levels: FloatArray, shares: Sequence[float] = SHARES) -> NDArray[np.bool_]:
    """Which planes (R,) all rays at these ends lie behind, by one of the discs that hold their light."""
    held = np.zeros(len(levels), dtype=np.bool_)
    for share in shares if math.isfinite(rays.lens.ring) else (1.0,):
        left = np.flatnonzero(~held)
        for end in ends:
            left = left[rays.within(end, share, normals[left], levels[left])]
        held[left] = True
    return held


def pass_filters(rays: Rays, around: Sequence[Ends]) -> None:
    """NotProvableError unless all light that comes to a filter goes through it, within its edge."""
    for plate, ends in zip(rays.plates, around, strict=True):
        count = CIRCLE_SIDES if plate.round_ else 4
        turns = 2.0 * math.pi * np.arange(count) / count
        normals = np.outer(np.cos(turns), plate.axes[:, 0]) + np.outer(np.sin(turns), plate.axes[:, 1])
        reach = np.array([plate.half[0] * math.cos(math.pi / count)] * count if plate.round_ else [*plate.half, *plate.half])
        if not behind(rays, ends, normals, normals @ plate.centre + reach).all():
            raise NotProvableError("light may pass the edge of a filter")


def end_beyond(rays: Rays, parts: Sequence[Part], start: float, end: float) -> None:
    """RefusedError unless the rays run past all parts, from behind the pupil on, before the plane in focus."""
    pupils = pupils_of(rays.lens, np.zeros(1, dtype=np.int64), rays.rectangle[None])
    if start > -max(float(pupils.depths.max()), rays.lens.depths[0][1], rays.lens.depths[1][1]) or end > rays.lens.object_z:
        raise RefusedError("its rays begin ahead of the pupil, or go on beyond the plane in focus")
    across, last = np.array([[1.0, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]]), (end, len(rays.plates))
    if not behind(rays, ((start, 0), last), across, np.full(4, ENDLESS_MM / 2)).all():
        raise RefusedError("its rays run out too far")
    for part in parts:
        if part.corners is not None:
            ahead = bool(part.corners[:, 2].max() <= end)
        elif part.endless and abs(part.loops[0].axes[2, 2]) < 1.0 - SAME:
            ahead = all(is_passed(rays, part, (end, passed)) for passed in {0, len(rays.plates)})
        else:
            ahead = max(float(loop.centre[2] + abs(loop.axes[2, :2]) @ loop.outside) for loop in part.loops) <= end or (
                part.endless and max(float(loop.centre[2]) for loop in part.loops) <= end
            )
        if not ahead:
            raise RefusedError(f"its rays end before the {part.name}")


def is_passed(rays: Rays, part: Part, last: tuple[float, int]) -> bool:
    """Whether rays have gone through the planes of all openings, and go on ahead of them."""
    axis = part.loops[0].axes[:, 2] * np.sign(part.loops[0].axes[2, 2])
    level = max(float(axis @ loop.centre) for loop in part.loops)
    further = (min(last[0] + FAR_MM, rays.lens.object_z), last[1])
    return bool(behind(rays, (last, further), -axis[None], np.array([-level])).all())


# ---- parts ----

Row = Sequence[float]  # first and last leg, share, wall, first and last quarter turn of the arc, normal (3), level


def least_mm(part: Part, row: Row, normal: FloatArray) -> float:
    """At most the least of n.x over a board, or over what lies beyond an arc of an opening.

    For any k: n.x >= k c + least of (n - k e).x over the outside, where e.x >= c is what lies beyond the arc's chord; it runs
    straight from loop to loop, so the lesser end holds for all between them.
    """
    if part.corners is not None:
        return float((part.corners @ normal).min())
    wall, first, last = int(row[3]), row[4], row[5]
    turn, half = (first + last) * math.pi / 4, (last - first) * math.pi / 4
    e = np.array([math.cos(turn), math.sin(turn)])
    loops = part.loops[wall : wall + 2]
    flat = [normal @ loop.axes[:, :2] for loop in loops]
    tries = [0.0, float(flat[0] @ e), *(float(flat[0][k] / e[k]) for k in (0, 1) if abs(e[k]) > SAME)]
    tries += [best_of_disc(loop, f, e, half) for loop, f in zip(loops, flat, strict=True) if loop.round_outside]
    return max(min(beyond(loop, f, e, half, k, normal) for loop, f in zip(loops, flat, strict=True)) for k in tries if k >= 0.0)


def best_of_disc(loop: Loop, flat: FloatArray, e: FloatArray, half: float) -> float:
    """The k that tells most where the outside is round: n is then least in a corner of the cap beyond the chord."""
    level, aside = chord(loop, e, half), abs(flat[0] * e[1] - flat[1] * e[0])
    return float(flat @ e + aside * level / math.sqrt(max(loop.outside[0] ** 2 - level**2, SAME)))


def beyond(loop: Loop, flat: FloatArray, e: FloatArray, half: float, k: float, normal: FloatArray) -> float:
    """That bound in one loop's plane."""
    left = flat - k * e
    out = loop.outside[0] * math.hypot(*left) if loop.round_outside else float(np.abs(left) @ loop.outside)
    return float(normal @ loop.centre) + k * chord(loop, e, half) - out


def chord(loop: Loop, e: FloatArray, half: float) -> float:
    """How far out along e the material begins beyond the chord of an arc this half wide."""
    w, h, r = loop.opening
    return float(abs(e[0]) * (w - r) + abs(e[1]) * (h - r) + r * math.cos(half))


def asked_of(part: Part) -> Iterator[tuple[int, list[tuple[float, float]], bool]]:
    """Walls of a part, the arcs (in quarter turns) that must be there as they are, and whether the corners between them count."""
    if part.corners is not None:
        yield -1, [(0.0, 0.0)], False
        return
    for wall, (one, two) in enumerate(pairwise(part.loops)):
        is_round = all(loop.opening[0] == loop.opening[1] == loop.opening[2] for loop in (one, two))
        yield wall, [] if is_round else [(float(q), float(q)) for q in range(4)], max(one.opening[2], two.opening[2]) > 0.0


def complete(part: Part, rows: Sequence[Row], legs: int) -> None:
    """RefusedError unless each leg has planes from all of a part: four straight sides, and arcs that go once round."""
    for leg, (wall, straight, corners) in product(range(legs), asked_of(part)):
        arcs = sorted((row[4], row[5]) for row in rows if row[0] <= leg <= row[1] and row[3] == wall)
        flat, bent = [arc for arc in arcs if arc[0] == arc[1]], [arc for arc in arcs if arc[0] < arc[1]]
        if not set(straight) <= set(flat):
            raise RefusedError(f"a side of the {part.name} has no plane")
        if corners and ([0.0, *(arc[1] for arc in bent)] != [*(arc[0] for arc in bent), 4.0]):
            raise RefusedError(f"the planes round the {part.name} do not close")
        if any(math.ceil(last) - math.floor(first) > 1 for first, last in bent):
            raise RefusedError(f"an arc of the {part.name} runs over more than one corner")


def part_holds(rays: Rays, part: Part, rows: Sequence[Row], legs: Sequence[Ends], room: float) -> None:
    """RefusedError unless all planes of a part keep rays and material apart by the room."""
    complete(part, rows, len(legs))
    table = np.array(rows, dtype=np.float64)
    length = np.linalg.norm(table[:, 6:9], axis=1)
    if not (np.isfinite(table).all() and (length > 0.5).all()):
        raise RefusedError(f"a plane of the {part.name} is none")
    numbers = table[:, [0, 1, 3]]
    if (numbers != np.round(numbers)).any() or not (numbers[:, 0].min() >= 0 and numbers[:, 1].max() < len(legs)):
        raise RefusedError(f"a plane of the {part.name} names legs or openings that there are not")
    normals, levels = table[:, 6:9] / length[:, None], table[:, 9] / length
    for row, normal, level in zip(rows, normals, levels, strict=True):
        if not least_mm(part, row, normal) >= level + room:
            raise RefusedError(f"a plane leaves the {part.name} less than {room:g} mm")
    for first, last, share in sorted({(int(row[0]), int(row[1]), float(row[2])) for row in table.tolist()}):
        if not 0.0 <= share <= 1.0 or (share < 1.0 and math.isinf(rays.lens.ring)):
            raise RefusedError("a plane names a disc that does not hold the light")
        mine = (table[:, 0] == first) & (table[:, 1] == last) & (table[:, 2] == share)
        ends = tuple(sorted({end for leg in legs[first : last + 1] for end in leg}))
        if not behind(rays, ends, normals[mine], levels[mine], (share,)).all():
            raise RefusedError(f"light crosses a plane before the {part.name}")


# ---- a guide ----


def guide_holds(setting: Setting, proof: Table) -> float:
    """The room [mm] that a proof shows, filters in and trays empty; RefusedError or NotProvableError."""
    rays = Rays(setting.lens, np.array(setting.rectangle), setting.plates)
    start, end, room = float(proof["start_mm"]), float(proof["end_mm"]), float(proof["room_mm"])
    if not (room > 0.0 and math.isfinite(start) and math.isfinite(end)):
        raise RefusedError("it shows no room")
    if len(proof["parts"]) != len(setting.parts):
        raise RefusedError("its parts are not those of the scene")
    cuts = sorted(map(float, proof["cuts_mm"]))
    legs, around = legs_of(setting.plates, start, end, cuts)
    legs += legs_of((), start, end, cuts)[0] if setting.plates else []
    legs.sort(key=lambda leg: leg[0][0])
    pass_filters(rays, around)
    end_beyond(rays, setting.parts, start, end)
    for part, told in zip(setting.parts, proof["parts"], strict=True):
        part_holds(rays, part, told["rows"], legs, room)
    return room


def find(scene: Table, entry: Table) -> Finding:
    """What is to be said of one entry of a proof against a scene's tables: planes that are there have to show what they claim."""
    found = shown(scene, entry)
    if found.word == ALONE and entry["proof"] is not None:
        return Finding(found.state, found.guide, REFUSED, 0.0, f"its planes do not show what they claim, for {found.why}")
    return found


def shown(scene: Table, entry: Table) -> Finding:
    """The same of planes that were only tried: what no proof is known for rests on the judgement alone."""
    label = str(entry["state"]), str(entry["guide"])
    try:
        focus = math.inf if entry["focus_mm"] == "infinity" else float(entry["focus_mm"])
        setting = setting_of(scene, entry["lens"], entry["guide"], float(entry["focal_mm"]), focus, float(entry["f_number"]))
        if not of_its_lens(entry):
            raise RefusedError(f"it is of the lens {entry['lens']}, whose state has another name")
        if not is_asked(scene, entry["lens"], focus, float(entry["f_number"])):
            raise RefusedError("it is of a focus or stop that the scene does not look at")
        if entry["proof"] is None:
            return Finding(*label, ALONE, 0.0, str(entry.get("why") or "no planes were found"))
        return Finding(*label, PROVED, guide_holds(setting, entry["proof"]), "")
    except NotProvableError as error:
        return Finding(*label, ALONE, 0.0, str(error))
    except RefusedError as error:
        return Finding(*label, REFUSED, 0.0, str(error))
    except (LookupError, TypeError, ValueError, AttributeError, ArithmeticError, StopIteration) as error:
        return Finding(*label, REFUSED, 0.0, f"it is not of this scene, or not written as a proof is ({error})")


def findings(scene: Table, proof: Table) -> list[Finding]:
    """What is to be said of every guide of a proof; ValueError for what is none, and for a scene with a key that none has."""
    if strange := unknown_key(scene):
        raise ValueError(f"the scene has {strange}, which is no key of a scene")
    guides = proof.get("guides") if isinstance(proof, dict) else None
    if not (isinstance(guides, list) and all(isinstance(entry, dict) for entry in guides)):
        raise ValueError("the file is no proof: it holds no list of guides")
    return [find(scene, entry) for entry in guides]


def each_key_once(pairs: list[tuple[str, object]]) -> Table:
    """An object of a proof; of two values under one key nobody can tell which one was shown."""
    keys = [key for key, _ in pairs]
    twice = next((key for key in keys if keys.count(key) > 1), None) if len(set(keys)) < len(keys) else None
    if twice is not None:
        raise ValueError(f'the key "{twice}" stands twice in one object of the proof')
    return dict(pairs)


def of_its_lens(entry: Table) -> bool:
    """Whether the name of a state, by which people know it, has that of its lens in it."""
    state, lens = ("".join(letter for letter in str(entry[key]).casefold() if letter.isalnum()) for key in ("state", "lens"))
    return lens in state


def main(argv: Sequence[str]) -> int:
    """Verify SCENE PROOF, a file or the folder it is in; 0 where all proofs hold and there is one, 1 else, 2 without such files."""
    try:
        scene = tomllib.loads(Path(argv[0]).read_text(encoding="utf-8-sig"))  # Windows' own editor begins files with a mark
        path = Path(argv[1])
        if missing := missing_file(scene, Path(argv[0]).parent):
            raise ValueError(f"the scene names the file {missing}, which is not there")
        proof = json.loads((path / NAME if path.is_dir() else path).read_text(encoding="utf-8"), object_pairs_hook=each_key_once)
        told = findings(scene, proof)
        left = not_spoken_of(scene, proof["guides"])
    except (OSError, ValueError, LookupError, RecursionError) as error:
        why = "a file is nested too deep" if isinstance(error, RecursionError) else error
        sys.stderr.write(f"error: {why}; give a scene file, and the folder that check --prove has filled\n")
        return 2
    sys.stdout.write("".join(f"{one.line}\n" for one in told))
    sys.stdout.write("".join(f"the proof says nothing of {words}\n" for words in left))
    return 0 if any(one.word == PROVED for one in told) and all(one.word != REFUSED for one in told) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
