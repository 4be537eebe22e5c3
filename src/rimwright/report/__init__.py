"""Drawings of a plan, written as text that needs no other program to read."""

__all__: list[str] = []
