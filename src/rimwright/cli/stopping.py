"""Ctrl-C and the stop signal: heard at once, and again at the next stage if a library ate it."""

from __future__ import annotations

import signal
import sys

EXIT_OF_SIGNAL = {signal.SIGINT: 130, signal.SIGTERM: 143}
"""Exit code for each signal that ends the command: 128 and its number, as shells have it."""

_heard: list[int] = []


def watch_signals() -> None:
    """Leave through the doors of the program on a signal, so that no half-written folder stays."""
    _heard.clear()
    for number in EXIT_OF_SIGNAL:
        signal.signal(number, _leave)


def stop_if_asked() -> None:
    """End the command if a signal was heard: a library may swallow the exit raised in it."""
    if _heard:
        sys.exit(EXIT_OF_SIGNAL[signal.Signals(_heard[0])])


def _leave(number: int, *_: object) -> None:
    """Remember the signal, then end the command."""
    _heard.append(number)
    stop_if_asked()
