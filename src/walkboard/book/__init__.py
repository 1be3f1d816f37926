"""The tuning book: a folder with one database and the recordings by content hash.

The whole book: `opening` and `glance` (before it is open), `keeping` (the class `Book`),
`checking`, `searching`, `copying`, `importing` with `export_reading`, and `migrating` with its
`migrations`.

- `files`: the folder on disk
- `database`: SQLite or PostgreSQL
- `models`: the tables
- `records`: what the book takes and returns
- `rows`: how facts become rows and are read back
- `organs`, `visits`, `recordings`, `readings`, `venue`, `people`: the parts of the book by subject
- `merging`: merges two copies
- `cache`: a book that remembers its answers

Importing this is light; the database's libraries load when a book is opened.
"""

from walkboard.book.opening import create_book, open_book

__all__ = ["create_book", "open_book"]
