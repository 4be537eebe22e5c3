"""Colours and textures of figures: Okabe and Ito's palette, light and dark, by role.

Colour repeats what shape, texture and words already say; nothing rests on it. Roles are CSS
classes, so one drawing serves the light page, the dark page and the print.
Source of the palette: Okabe and Ito, Color Universal Design, 2008 (from memory).
"""

from __future__ import annotations

LIGHT = {
    "paper": "#ffffff",
    "panel": "#f4f5f7",
    "ink": "#16191d",
    "quiet": "#4b535d",
    "line": "#9aa3ad",
    "faint": "#d9dde2",
    "accent": "#0072b2",
    "native": "#f4d49a",
    "native-line": "#9a6400",
    "graft": "#a9d8f3",
    "graft-line": "#0a5c8f",
    "bone": "#efebe2",
    "mark": "#b84a00",
    "second": "#8a3f72",
}
DARK = {
    "paper": "#14171a",
    "panel": "#1e2227",
    "ink": "#eef0f2",
    "quiet": "#b9c0c8",
    "line": "#7b858f",
    "faint": "#353b42",
    "accent": "#56b4e9",
    "native": "#6b4a10",
    "native-line": "#f0b64a",
    "graft": "#124a68",
    "graft-line": "#8fd0f5",
    "bone": "#2b2a26",
    "mark": "#ff9a52",
    "second": "#e0a3c8",
}

FONT = '"DejaVu Sans", "Segoe UI", "Helvetica Neue", Arial, sans-serif'

RULES = """
.f-t{font-family:%(font)s;font-size:16px;fill:%(ink)s}
.f-q{fill:%(quiet)s}.f-b{font-weight:bold}.f-m{text-anchor:middle}.f-e{text-anchor:end}
.f-halo{stroke:%(paper)s;stroke-width:4px;stroke-linejoin:round;paint-order:stroke}
.f-paper{fill:%(paper)s}.f-bone{fill:%(bone)s}.f-panel{fill:%(panel)s}
.f-grid{stroke:%(faint)s;stroke-width:1;fill:none}
.f-axis{stroke:%(line)s;stroke-width:1.5;fill:none}
.f-rim{stroke:%(ink)s;stroke-width:3;fill:none}
.f-thin{stroke:%(ink)s;stroke-width:1.5;fill:none}
.f-native{fill:%(native)s;stroke:%(native-line)s;stroke-width:1.5}
.f-fibre{stroke:%(native-line)s;stroke-width:1;fill:none}
.f-graft{fill:%(graft)s;stroke:%(graft-line)s;stroke-width:1.5}
.f-weave{stroke:%(graft-line)s;stroke-width:1.2;fill:none}
.f-cut{stroke:%(ink)s;stroke-width:1.5;stroke-dasharray:5 4;fill:none}
.f-hatch{stroke:%(quiet)s;stroke-width:1.2;fill:none}
.f-unknown{stroke:%(quiet)s;stroke-width:1;stroke-dasharray:2 3;fill:none}
.f-fan{fill:%(accent)s;fill-opacity:.16;stroke:%(accent)s;stroke-width:1}
.f-peg{fill:%(ink)s;stroke:none}.f-pegopen{fill:%(paper)s;stroke:%(ink)s;stroke-width:2}
.f-old{fill:%(paper)s;stroke:%(quiet)s;stroke-width:2;stroke-dasharray:3 2}
.f-mark{stroke:%(mark)s;stroke-width:2.5;fill:none;stroke-linejoin:round}
.f-markfill{fill:%(mark)s;stroke:none}
.f-ink{fill:%(ink)s;stroke:none}
.f-badge{fill:%(paper)s;stroke:%(ink)s;stroke-width:1.5}
.f-bar{fill:%(accent)s;stroke:none}.f-bar2{fill:%(faint)s;stroke:%(line)s;stroke-width:1}
.f-line{stroke:%(accent)s;stroke-width:2.5;fill:none;stroke-linejoin:round}
.f-line2{stroke:%(second)s;stroke-width:2.5;fill:none;stroke-dasharray:7 4}
.f-dot2{fill:%(paper)s;stroke:%(second)s;stroke-width:2}
.f-limit{stroke:%(ink)s;stroke-width:1.5;stroke-dasharray:9 4;fill:none}
.f-norm{fill:%(line)s;fill-opacity:.3;stroke:%(line)s;stroke-width:1}
"""


def figure_rules(colours: dict[str, str] | None = None) -> str:
    """The rules of every figure class; with CSS variables where no colours are given."""
    if colours is None:
        values = {name: f"var(--{name})" for name in LIGHT}
        return RULES % {**values, "font": "inherit"}
    return RULES % {**colours, "font": FONT}


def variables(colours: dict[str, str]) -> str:
    """The palette as CSS variables."""
    return "".join(f"--{name}:{value};" for name, value in colours.items())
