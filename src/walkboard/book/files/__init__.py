"""The folder of a book on disk.

- `folder`: its layout, what marks it as a book, and how one is made
- `sounds`: the recordings, named by their content
- `leftovers`: what killed programs left, and removing it
- `trouble`: turns errors of SQLite and the disk into a `BookError` that says what to do
"""
