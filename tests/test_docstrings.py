"""Docstrings tell the truth: documented parameters are the parameters, units and summary stand."""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import pkgutil
import warnings
from enum import Enum
from pathlib import Path
from typing import Any

import pytest
from numpydoc.docscrape import ClassDoc, FunctionDoc

SOURCE = Path(__file__).resolve().parents[1] / "src" / "rimwright"
# Map, findings and evidence are the three things the rules are about, always in this order.
# Whoever writes a letter or a page of two hips gives what it is made of, then the folder.
MAX_POSITIONAL = {"list_options": 3, "write_letter": 3, "write_two_hips": 3}


def modules() -> list[str]:
    """Dotted names of all modules of the package."""
    found = pkgutil.walk_packages([str(SOURCE)], prefix="rimwright.")
    return sorted(module.name for module in found if not module.name.endswith("__main__"))


def public_things(name: str) -> dict[str, Any]:
    """Public classes and functions written in the module itself."""
    module = importlib.import_module(name)
    found = {}
    for key, thing in vars(module).items():
        home = getattr(thing, "__module__", None)
        is_code = inspect.isclass(thing) or inspect.isroutine(thing) or hasattr(thing, "py_func")
        if not key.startswith("_") and home == name and is_code:
            found[key] = getattr(thing, "py_func", thing)
    return found


def things_with_methods(name: str) -> dict[str, Any]:
    """The public things and the public methods of the classes among them."""
    found = dict(public_things(name))
    for key, thing in list(found.items()):
        if not inspect.isclass(thing) or issubclass(thing, Enum):
            continue
        for method_name, raw in vars(thing).items():
            method = raw.__func__ if isinstance(raw, (classmethod, staticmethod)) else raw
            if not method_name.startswith("_") and inspect.isfunction(method):
                found[f"{key}.{method_name}"] = method
    return found


def documented_names(thing: Any) -> list[str]:
    """Names of the Parameters section, `a, b` counted as two."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        document = ClassDoc(thing) if inspect.isclass(thing) else FunctionDoc(thing)
    names = []
    for entry in document["Parameters"]:
        # numpydoc takes "name : type" apart; types stand in the signature only.
        assert not entry.type, f"type of {entry.name} stands in the docstring"
        names += [part.strip().lstrip("*") for part in entry.name.split(",")]
    return names


def signature_names(thing: Any) -> list[str]:
    """Names of the parameters without self and cls."""
    if dataclasses.is_dataclass(thing):
        return [field.name for field in dataclasses.fields(thing) if field.init]
    parameters = inspect.signature(thing).parameters
    return [name for name in parameters if name not in {"self", "cls"}]


@pytest.mark.parametrize("name", modules())
def test_everything_public_says_what_it_is(name: str) -> None:
    """Module, class, function and public method have a docstring with a summary of its own."""
    module = importlib.import_module(name)
    assert (module.__doc__ or "").strip(), "the module says nothing"
    bare = [
        key
        for key, thing in things_with_methods(name).items()
        if not (thing.__doc__ or "").strip() or (thing.__doc__ or "").startswith(f"{key}(")
    ]
    assert not bare


@pytest.mark.parametrize("name", modules())
def test_documented_parameters_are_the_parameters(name: str) -> None:
    """Where a Parameters section stands, it names each parameter and no other."""
    wrong = {}
    for key, thing in things_with_methods(name).items():
        if "Parameters\n" not in (thing.__doc__ or ""):
            continue
        documented, actual = documented_names(thing), signature_names(thing)
        if sorted(documented) != sorted(actual):
            wrong[key] = sorted(set(documented) ^ set(actual)) or documented
    assert not wrong


def faces() -> list[str]:
    """Dotted names of the packages whose faces other layers call."""
    found = pkgutil.walk_packages([str(SOURCE)], prefix="rimwright.")
    return sorted(m.name for m in found if m.ispkg and not m.name.startswith("rimwright.cli"))


@pytest.mark.parametrize("name", faces())
def test_at_most_two_positional_and_no_positional_flags(name: str) -> None:
    """What a layer offers takes at most two positional arguments, and no flag by position."""
    module = importlib.import_module(name)
    wrong = []
    for key in module.__all__:
        thing = getattr(module, key)
        if not inspect.isfunction(thing) and not dataclasses.is_dataclass(thing):
            continue  # errors take their three texts by position, to survive pickling
        positional = [
            p
            for p in inspect.signature(thing).parameters.values()
            if p.kind in {p.POSITIONAL_ONLY, p.POSITIONAL_OR_KEYWORD}
        ]
        flags = [p.name for p in positional if p.annotation in {bool, "bool"}]
        if len(positional) > MAX_POSITIONAL.get(key, 2) or flags:
            wrong.append(f"{key}({', '.join(p.name for p in positional)})")
    assert not wrong
