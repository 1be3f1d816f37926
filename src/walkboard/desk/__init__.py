"""The pages: thin; they call `walkboard.work` and show what it returns.

- `server`: who may come in, which page answers, and in which words
- `live`: the live channel and the sessions behind it
- `background`: long work beside the pages
- `drawing`: drawings as SVG
- `pages`: one module a page, with `templates`, `static` and `words`
"""
