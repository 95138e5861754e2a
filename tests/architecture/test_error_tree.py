"""The error tree is whole: every error has a code of its own, a reason, and a place in the drawing."""

from __future__ import annotations

import copy
import importlib
import pkgutil
import re

import pytest

import gateway.errors as tree
from gateway.cli.reference import all_explanations

FAMILIES = tuple(
    importlib.import_module(f"{tree.__name__}.{module.name}") for module in pkgutil.iter_modules(tree.__path__)
)
CLASSES = tree.all_error_classes()


def test_the_families_stand_in_the_drawing() -> None:
    drawn = set(re.findall(r"── (\w+Error)", tree.__doc__ or ""))
    assert drawn == {cls.__name__ for cls in tree.GatewayError.__subclasses__()}


def test_codes_are_unique_slugs() -> None:
    codes = [cls.code for cls in CLASSES]
    assert len(set(codes)) == len(codes)
    assert all(re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", code) for code in codes)


@pytest.mark.parametrize(
    "cls", [c for c in CLASSES if c not in tree.GatewayError.__subclasses__()], ids=lambda c: c.code
)
def test_each_error_explains_itself(cls: type[tree.GatewayError]) -> None:
    assert len(cls.explanation) > 40
    assert cls.explanation.endswith(".")
    assert all_explanations()[cls.code] == cls.explanation


def test_an_error_survives_copying_with_everything_it_says() -> None:
    error = CLASSES[0]("what", where=tree.Place("exam.yaml", 3, 5, "captures[0].eye"), was="both", fix="write right")
    assert str(copy.deepcopy(error)) == str(error)
    assert str(error) == "exam.yaml:3:5 (captures[0].eye): what, was both; write right"
