"""What is asked of a design, each wish by itself: so that any one can be left out and the rest solved again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from scenes.questions.design.bends import Bends, most_bent
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.scene import Scene

LIMITS = {"width_mm": ("front_width", "wide", "mm"), "height_mm": ("front_height", "high", "mm")}
LIMITS |= {"depth_mm": ("depth", "deep", "mm"), "weight_kg": ("weight", "heavy", "kg")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """Lenses that must stand clear, room beyond theirs [mm], whether a fixed pupil's room counts, lights, limits, builds.

    wide: key paths of measures that may go beyond the end given for them, and how far: None, as far as may be. bends: how
    rods bend with each lens.
    """

    lenses: tuple[str, ...]
    more_mm: float = 0.0
    walk: bool = True
    lights: tuple[str, ...] = ()
    limits: tuple[tuple[str, float], ...] = ()
    clear_builds: float | None = None
    wide: tuple[tuple[str, float | None], ...] = ()
    bends: Bends = ()


@dataclass(frozen=True, slots=True)
class Wish:
    """One wish, in words as part of a sentence, and what is asked when it is given up."""

    key: str
    words: str

    @property
    def kind(self) -> str:
        """'lens', 'room', 'walk', 'light', 'limit', 'end', 'bend', 'builds'."""
        return self.key.partition(":")[0]

    @property
    def name(self) -> str:
        """The lens, light, measure or key path that it is about; '' where there is one of its kind."""
        return self.key.partition(":")[2]

    @property
    def is_lens(self) -> bool:
        """Whether it asks for a lens."""
        return self.kind == "lens"

    def left_out(self, wishes: Wishes) -> Wishes:
        """All others."""
        name = self.name
        match self.kind:
            case "lens":
                return replace(wishes, lenses=tuple(lens for lens in wishes.lenses if lens != name))
            case "light":
                return replace(wishes, lights=tuple(light for light in wishes.lights if light != name))
            case "limit":
                return replace(wishes, limits=tuple(limit for limit in wishes.limits if limit[0] != name))
            case "end":
                return replace(wishes, wide=(*wishes.wide, (name, None)))
            case "room":
                return replace(wishes, more_mm=0.0)
            case "walk":
                return replace(wishes, walk=False)
            case "bend":
                return replace(wishes, bends=())
        return replace(wishes, clear_builds=None)


def wishes_of(scene: Scene) -> Wishes:
    """All that a scene asks of its design."""
    assert scene.design is not None
    want, limits = scene.design.want, scene.design.limits
    given = ((measure, getattr(limits, key)) for key, (measure, _, _) in LIMITS.items())
    return Wishes(
        lenses=tuple(lens.name for lens in scene.lens),
        more_mm=want.room_mm,
        lights=want.keep_off,
        limits=tuple((measure, value) for measure, value in given if value is not None),
        clear_builds=want.clear_builds,
    )


def each_wish(wishes: Wishes, needed_mm: float) -> Iterator[Wish]:
    """Every wish that may be given up; needed_mm is the room that fixed pupils ask for."""
    for name in wishes.lenses if len(wishes.lenses) > 1 else ():
        yield Wish(f"lens:{name}", f"the {name}")
    if wishes.more_mm > 0.0:
        yield Wish("room:", f"{plain(wishes.more_mm)} mm of room besides")
    if wishes.walk and needed_mm > 0.0:
        yield Wish("walk:", f"{plain(needed_mm)} mm of room for pupils taken as fixed")
    if wishes.bends:
        lens, drop_mm = most_bent(wishes.bends)
        rods = f"rods that bend up to {drop_mm:.2f} mm, with the {lens}"
        yield Wish("bend:", rods if drop_mm else "round corners of a bent hood")
    for name in wishes.lights:
        yield Wish(f"light:{name}", f"{name} off the glass")
    for measure, value in wishes.limits:
        words, unit = next((words, unit) for one, words, unit in LIMITS.values() if one == measure)
        yield Wish(f"limit:{measure}", f"at most {plain(value)} {unit} {words}")
    if wishes.clear_builds is not None:
        yield Wish("builds:", f"{plain(100 * wishes.clear_builds)} % of builds clear")
