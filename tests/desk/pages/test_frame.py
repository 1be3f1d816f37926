"""The frame around every page: words, looks, names of keys, errors."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.desk.conftest import Open, Server
from tests.desk.looking import look_at
from walkboard.desk.text.catalogue import MissingWordsError, catalogue, say
from walkboard.languages.spoken import ENGLISH

DESK = Path(__file__).resolve().parents[3] / "src" / "walkboard" / "desk"
TEMPLATES = sorted((DESK / "templates").glob("**/*.html"))
_SAID = re.compile(r"""say\(\s*f?["']([a-z_]+\.[a-z_.]+)["']""")
_HEARD = ("alt", "aria-label", "placeholder", "title", "content")


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.name)
def test_no_template_holds_bare_words(template: Path) -> None:
    text = template.read_text(encoding="utf-8")
    text = re.sub(r"(\{% block body_class %\})[^{]*", r"\1", text)  # names for the style, not words
    text = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", "", text, flags=re.DOTALL)
    heard = re.findall(rf"\b(?:{'|'.join(_HEARD)})=\"([^\"]*)\"", text)
    heard = [words for words in heard if not words.startswith(("width=", "light dark"))]
    bare = re.sub(r"<!doctype html>|<[^>]*>", "", text)
    bare = re.sub(r"(?<!\S)/\S+", "", bare)  # an address put together is no word
    assert not re.findall(r"[^\W\d_]+", " ".join([bare, *heard]))


def test_words_that_pages_say_are_in_the_catalogue() -> None:
    known = catalogue(ENGLISH)
    for path in [*TEMPLATES, *sorted(DESK.glob("**/*.py"))]:
        for key in _SAID.findall(path.read_text(encoding="utf-8")):
            assert key in known or any(k.startswith(key) for k in known), f"{path.name}: {key}"


def test_words_that_scripts_say_are_in_the_catalogue() -> None:
    scripts = {key.partition(".script.")[2] for key in catalogue(ENGLISH) if ".script." in key}
    for path in sorted((DESK / "static").glob("*.js")):
        for key in re.findall(r'\bsay\("([a-z_]+)"', path.read_text(encoding="utf-8")):
            assert key in scripts, f"{path.name}: {key}"


def test_a_number_chooses_the_form_of_its_words() -> None:
    assert say("sharing.left", n=1) == "1 second left"
    assert say("sharing.left", n=2) == "2 seconds left"
    with pytest.raises(MissingWordsError, match=r"sharing\.nothing"):
        say("sharing.nothing")


@pytest.mark.parametrize("path", ["/organs", "/sharing", "/pair", "/nowhere"])
def test_pages_of_the_frame_are_accessible(server: Server, open_page: Open, path: str) -> None:
    look_at(open_page(server.address + path), f"frame{path.replace('/', '-')}")


def test_a_browser_keeps_its_look_and_its_names(server: Server, open_page: Open) -> None:
    page = open_page(f"{server.address}/organs?some=thing")
    page.click("details.choices summary")
    page.select_option("select[name=look]", "dark")
    page.select_option("select[name=names]", "helmholtz")
    page.click("details.choices button")
    page.wait_for_selector("html[data-look=dark]")
    assert page.url.endswith("/organs?some=thing")
    dark = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    page.emulate_media(media="print")
    paper = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    assert dark != paper == "rgb(255, 255, 255)"


def test_the_first_tab_leads_to_the_content(server: Server, open_page: Open) -> None:
    page = open_page(f"{server.address}/organs")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"
