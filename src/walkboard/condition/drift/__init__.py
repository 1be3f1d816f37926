"""How pipes drift over the visits, and where they will be on a date.

- `history`: what earlier visits found and did
- `kinds`: what is assumed about a kind of pipe before any history
- `rank`: one rank over the years, as one joint normal
- `common`: what all flues of a visit share
- `filter`: the whole organ over its visits
- `fit`: learns a book's own drift
- `forecast`: where each pipe will be, with its spread
"""
