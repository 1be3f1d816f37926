"""The pages: thin; they call `walkboard.work` and show what it returns.

Imports go downward in this list:

- `server`: runs it: who comes in, which page answers
- `pages`: one module a page, with `templates`, `static` and `words`
- `frame`: what a page is made of, and what it is given
- `live`, `background`, `drawing`: sessions and the live channel; long work; drawings as SVG
- `text`: words and figures
"""
