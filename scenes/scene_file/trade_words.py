"""What crews call the parts of a box and what they are called here: for `brimline list words` and for error messages."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class TradeWord:
    """Words heard on set, the word used here, and how a scene file has it."""

    on_set: tuple[str, ...]
    here: str
    scene_file: str


# Common practice, no source. docs/nomenclature.md holds the same table; a test holds the two together.
TRADE_WORDS = (
    TradeWord(on_set=("matte box",), here="box", scene_file="[box]"),
    TradeWord(on_set=("French flag", "top flag", "eyebrow"), here="flag at the top", scene_file='[[box.flag]] with side = "top"'),
    TradeWord(
        on_set=("side flags", "siders"), here="flags at the left and right", scene_file='[[box.flag]] with side = "left" or "right"'
    ),
    TradeWord(on_set=("tray", "filter stage"), here="stage, with its tray", scene_file="[[box.stage]]"),
    TradeWord(on_set=("matte",), here="mask", scene_file="[[box.mask]]"),
    TradeWord(on_set=("donut",), here="seal of the kind donut", scene_file='[box] seal = { kind = "donut" }'),
    TradeWord(on_set=("rods", "bars"), here="rods", scene_file='[box] mount = "rods-15"'),
    TradeWord(on_set=("clamp-on",), here='mount = "clamp"', scene_file='[box] mount = "clamp"'),
    TradeWord(on_set=("sunshade",), here="hood", scene_file="[box.hood]"),
)


def in_the_scene_file(word: str) -> str:
    """How a scene file has what crews call by this word, however it is spelt; empty where it is none of theirs."""
    spelt = _bare(word)
    return next((one.scene_file for one in TRADE_WORDS if spelt in map(_bare, one.on_set)), "")


def _bare(word: str) -> str:
    """A word without what separates its parts, its plural and its capitals."""
    return "".join(letter for letter in word.lower() if letter.isalnum()).removesuffix("s")
