"""A loss for people."""

from __future__ import annotations

from scenes.scene_file.messages import ALL_LIGHT, ALL_STOPS

SHOWN_LOSS_STOPS = 0.005  # less than this is no more than "<0.01 stop": two decimals show no more
TOLD_LOSS_STOPS = 0.0005  # less than this is written as nothing


def loss_words(value: float) -> str:
    """A loss for people: 'none', '<0.01 stop', '0.34 stop', 'all light'."""
    if value >= ALL_STOPS:
        return ALL_LIGHT
    if value < SHOWN_LOSS_STOPS:
        return "none" if value < TOLD_LOSS_STOPS else "<0.01 stop"
    return f"{value:.2f} stop" if value < 1.005 else f"{value:.2f} stops"


def lost_words(value: float) -> str:
    """A loss as a clause: '0.34 stop is lost', '3.13 stops are lost', 'all light is lost'."""
    told = loss_words(value)
    return f"{told} {'are' if told.endswith('stops') else 'is'} lost"
