"""What a page is built from, and what it can use.

- `page`: its doors, who may pass each, and what its outbox may set (`setting`)
- `desk`: the book, the live channel and the work in the background
- `rendering`: its template, with the frame around every page
- `access`, `pairing`, `console_cards`, `allowance`: who may connect
"""
