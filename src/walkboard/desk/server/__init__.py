"""The server: who may come in, which page answers, and in which words.

- `application`: everything put together around one book; `serving` starts it
- `desk`, `page`: what a page is given, and what it is made of
- `gate`, `doorway`, `pairing`, `allowance`, `certificate`, `network`: who comes in
- `outbox`: what browsers send, each with an id
- `rendering`, `catalogue`, `translate`, `preferences`: templates and words
- `early_page`: the first page before the rest has loaded
- `console_cards`, `static_files`
"""
