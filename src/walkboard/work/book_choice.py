"""Choices for everyone who uses a book: language of the pages, names of keys."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from walkboard.languages.spoken import language
from walkboard.parsing import json_value
from walkboard.scales.key_names import USUAL_NAMES, Names

FILE = "page-language.json"


@dataclass(frozen=True, slots=True)
class BookChoice:
    """Defaults for a book's pages and sheets; empty if nothing was chosen."""

    language: str = ""
    names: str = ""

    @classmethod
    def of(cls, folder: Path) -> BookChoice:
        """The choices for a book's folder; empty if the file cannot be read."""
        try:
            saved = json_value((folder / FILE).read_text(encoding="utf-8"))
            return cls(str(saved.get("language", "")), str(saved.get("names", "")))
        except (OSError, ValueError, AttributeError):
            return cls()

    @property
    def key_names(self) -> Names:
        """How keys are named on paper: as chosen, else as usual in the language that is spoken."""
        if self.names in set(Names):
            return Names(self.names)
        return USUAL_NAMES.get(language(), Names.SCIENTIFIC)

    def keep(self, folder: Path) -> None:
        """Store it in the book's folder, completely or not at all."""
        part = (folder / FILE).with_suffix(".part")
        part.write_text(json.dumps(asdict(self)), encoding="utf-8")
        part.replace(folder / FILE)
