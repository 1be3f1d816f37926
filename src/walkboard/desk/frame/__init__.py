"""What a page is made of, and what it is given to work with.

- `page`: its doors, who may pass each, and what its outbox may set (`setting`)
- `desk`: the book, the live channel and the work in the background
- `rendering`: its template, with the frame around every page
- `access`, `pairing`, `console_cards`, `allowance`: who may come in
"""
