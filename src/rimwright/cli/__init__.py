"""The command `rimwright`."""

from rimwright.cli.app import main

__all__ = ["main"]
