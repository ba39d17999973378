"""How a test shoot is planned: what a change of the set-up costs, and how exposure is read."""

from __future__ import annotations

from typing import Any, Literal

from scenes.scene_file.tables.fields import Table, choice, part, quantity

PlanCurve = Literal["linear", "srgb", "rec709", "bt1886", "pq", "pq-camera", "hlg"]
MOST_MINUTES = 240.0


def _minutes(what: str, default: float) -> Any:
    return quantity(what, 0.0, MOST_MINUTES, default, unit="min")


class Minutes(Table):
    """What each change of the set-up takes; the defaults are common practice, so put in your crew's own."""

    lens: float = _minutes("A lens put on, the one before it taken off.", 6.0)
    slide: float = _minutes("The box slid, raised or tilted to another place on its rods.", 2.0)
    back: float = _minutes("A back plate put on or taken off.", 4.0)
    seal: float = _minutes("A ring, donut or bellows put on or taken off.", 1.0)
    stage: float = _minutes("A stage, with its tray, put on or taken off.", 3.0)
    filter: float = _minutes("A filter put into its tray or taken out.", 1.0)
    mask: float = _minutes("A mask put in or taken out.", 1.0)
    hood: float = _minutes("A hood put on or taken off.", 4.0)
    flag: float = _minutes("A flag put on or taken off.", 1.0)
    solid: float = _minutes("Any other part put on or taken off.", 2.0)
    zoom: float = _minutes("A zoom set to another focal length.", 0.5)
    focus: float = _minutes("Focus set to another distance, and the card moved there.", 2.0)
    stop: float = _minutes("The stop set, and the exposure with it.", 0.5)


class Plan(Table):
    """What `brimline plan` reckons with; every key is optional."""

    curve: PlanCurve = choice(
        "Transfer function that the waveform shows: linear, srgb, rec709, bt1886, pq (of display light), pq-camera (scene light "
        "through the BT.2100 OOTF) or hlg.",
        "rec709",
    )
    bits: int = quantity("Bits of the code values that are told, in narrow (video) range.", 8, 12, 10)
    reading_percent: float = quantity(
        "How far a reading of the waveform may be off, in percent of the signal.", 0.1, 10.0, 1.0, unit="%"
    )
    minutes: Minutes = part("What each change of the set-up takes.", Minutes())
