"""The shipped JSON Schema is the one that the models make, and says what the reader does."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from importlib.resources import files
from typing import Any

import pytest

from tests.organ.test_checking import GOOD
from walkboard.organ import examples
from walkboard.organ.description import Description
from walkboard.organ.schema import schema, schema_text


def test_shipped_schema_is_the_generated_one() -> None:
    shipped = files("walkboard.organ").joinpath("organ.schema.json").read_text(encoding="utf-8")
    assert shipped == schema_text(), "run: python -m walkboard.organ.schema > …/organ.schema.json"


def test_module_prints_it() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "walkboard.organ.schema"], capture_output=True, check=True
    )
    assert json.loads(done.stdout) == schema()


def tables() -> dict[str, Any]:
    made = schema()
    return {"Description": made, **made["$defs"]}


def test_every_field_is_explained() -> None:
    for name, table in tables().items():
        for field, reported in table.get("properties", {}).items():
            if {"$ref", "items"}.isdisjoint(reported):
                assert reported.get("description"), f"{name}.{field}"


def test_nothing_unknown_is_let_in_and_nothing_is_null() -> None:
    for name, table in tables().items():
        if "properties" in table:
            assert table["additionalProperties"] is False, name
    assert '"null"' not in schema_text()


@pytest.mark.parametrize("text", [examples.village(), examples.hall(), GOOD])
def test_schema_takes_what_is_right(text: str) -> None:
    validator = pytest.importorskip("jsonschema", reason="jsonschema is not installed")
    validator.Draft202012Validator.check_schema(schema())
    validator.Draft202012Validator(schema()).validate(tomllib.loads(text))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("format = 1", "format = 2"),
        ("keys = 56", 'keys = "56"'),
        ("a4_hz = 440.0", "a4_hz = 44"),
        ('family = "reed"', 'family = "brass"'),
        ('tuned_by = "slide"', 'tuned = "slide"'),
        ('feet = "16"\n', ""),
        ("interval = 19", 'interval = 19, feet = "1 1/3"'),
        ("{1 = 150.0, 13 = 90.0}", "{C2 = 150.0}"),
        ('temperament = "equal"', "temperament = {}"),
        ('plays = [{rank = "pedal.bourdon16"}]', "plays = []"),
    ],
)
def test_schema_refuses_what_is_wrong(old: str, new: str) -> None:
    validator = pytest.importorskip("jsonschema", reason="jsonschema is not installed")
    raw = tomllib.loads(GOOD.replace(old, new, 1))
    assert not validator.Draft202012Validator(schema()).is_valid(raw)


def test_patterns_mean_the_same_everywhere() -> None:
    """Only what JSON Schema's regular expressions (ECMA 262) share with Rust's and Python's."""
    found = re.findall(r'"pattern": "(.*)"', schema_text())
    assert found
    for pattern in found:
        assert not re.search(r"\(\?|\\[pPAzZ]", pattern)
        re.compile(json.loads(f'"{pattern}"'))


def test_required_fields_are_those_of_the_models() -> None:
    needed = {name for name, f in Description.model_fields.items() if f.is_required()}
    assert set(schema()["required"]) == needed
