"""The pages: thin; they call `walkboard.work` and show what it returns.

Imports go downward in this list:

- `server`: runs it: who may connect, which page answers
- `pages`: one module a page, with `templates`, `static` and `words`
- `frame`: what a page is built from, and what it can use
- `live`, `background`, `drawing`: sessions and the live channel; long work; drawings as SVG
- `text`: texts and figures
"""
