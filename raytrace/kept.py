"""Answers kept with the very objects that they are about, for as long as these are asked for again."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from typing import Generic, TypeVar

Thing = TypeVar("Thing")
Found = TypeVar("Found")


class Kept(Generic[Thing, Found]):
    """What a function answers of an object that nobody changes, worked out once; of the last `most` objects.

    The object is kept with its answer, so that no other one gets its id meanwhile.
    """

    def __init__(self, find: Callable[[Thing], Found], most: int = 512) -> None:
        self._find, self._most = find, most
        self._kept: OrderedDict[int, tuple[Thing, Found]] = OrderedDict()

    def __call__(self, thing: Thing) -> Found:
        """The answer about an object."""
        held = self._kept.get(id(thing))
        if held is None:
            held = self._kept[id(thing)] = thing, self._find(thing)
            if len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return held[1]


class KeptTogether(Generic[Found]):
    """The same of several objects together."""

    def __init__(self, find: Callable[..., Found], most: int = 64) -> None:
        self._find, self._most = find, most
        self._kept: OrderedDict[tuple[int, ...], tuple[tuple[object, ...], Found]] = OrderedDict()

    def __call__(self, *things: object) -> Found:
        """The answer about these objects, in this order."""
        key = tuple(map(id, things))
        held = self._kept.get(key)
        if held is None:
            held = self._kept[key] = things, self._find(*things)
            if len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return held[1]
