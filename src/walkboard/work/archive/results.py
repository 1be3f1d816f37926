"""Finished hearings by key. A result is written to a temporary file and renamed, so it is always
complete.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from walkboard.errors import InputError
from walkboard.parsing import json_value
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.to_json import walk_from_json
from walkboard.work.write_files import write_file

FOLDER = "worked-out/archive"  # in the book's folder; may be removed at any time


@dataclass(frozen=True, slots=True)
class Results:
    """A folder of results, ``ab/ab12….json``."""

    folder: Path

    def path_of(self, key: str) -> Path:
        """Path of a result, whether it exists or not."""
        return self.folder / key[:2] / f"{key}.json"

    def has(self, key: str) -> bool:
        """Whether a result exists."""
        return self.path_of(key).is_file()

    def write(self, key: str, data: bytes) -> None:
        """Keep a result.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        place = self.path_of(key)
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError(
                f"The result cannot be written: {error.strerror or error}.", where=str(place)
            ) from error
        write_file(data, place, what="result")

    def read(self, key: str) -> dict[str, Any]:
        """A result as JSON values.

        Raises
        ------
        InputError
            If it cannot be read; remove the file, and it is heard again.
        """
        place = self.path_of(key)
        try:
            found: dict[str, Any] = json_value(place.read_bytes())
        except (OSError, ValueError) as error:
            raise InputError(
                "The result cannot be read.", where=str(place), fix="Remove it and hear again."
            ) from error
        return found

    def walk(self, key: str) -> HeardWalk:
        """A result as a walk.

        Raises
        ------
        InputError
            If it cannot be read.
        """
        return walk_from_json(self.read(key), where=str(self.path_of(key)))
