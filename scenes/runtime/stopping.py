"""A request to stop, by Ctrl-C or a scheduler, that is answered by handing over what there is."""

from __future__ import annotations

import signal
import threading


def heard() -> None:
    """Take a request to stop as heard: it is not made again for being swallowed; one made anew counts."""
    if hasattr(signal, "setitimer") and threading.current_thread() is threading.main_thread():
        signal.setitimer(signal.ITIMER_REAL, 0.0)
