"""Three invented years of the invented hall.

- `years`: ten visits and what each did
- `words`: notes and faults in the invented keeper's words
- `book`: writes them into a book
"""
