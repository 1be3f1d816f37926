"""Page 1 as a self-contained web page: to keep, to mail, to open from disk."""

from __future__ import annotations

from html import escape

from walkboard.sheets.front_page.news import FrontPage

_STYLE = """
:root { color-scheme: light dark; }
body { font: 1.125rem/1.5 system-ui, sans-serif; max-width: 38rem; margin: 0 auto; padding: 1.5rem;
  color: #1a1a1a; background: #fff; }
h1 { font-size: 1.5rem; line-height: 1.25; } h2 { font-size: 1.15rem; margin: 1.4rem 0 .3rem; }
p { margin: 0; }
@media (prefers-color-scheme: dark) { body { color: #f0f0f0; background: #161616; } }
@media print { body { max-width: none; padding: 0; } }
"""


def front_page_html(page: FrontPage) -> str:
    """The page as one HTML file, without scripts or external content."""
    sections = "\n".join(
        f"<section>\n<h2>{escape(section.heading)}</h2>\n"
        f"<p>{escape(' '.join(answer.words for answer in section.answers))}</p>\n</section>"
        for section in page.sections
    )
    return (
        f'<!doctype html>\n<html lang="{page.language.value}">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(page.title)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{escape(page.title)}</h1>\n{sections}\n</main>\n</body>\n</html>\n"
    )
