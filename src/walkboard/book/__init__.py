"""The tuning book: a folder with one database and the recordings by content hash.

Importing this is light; the database's libraries load when a book is opened.
"""

from walkboard.book.opening import create_book, open_book

__all__ = ["create_book", "open_book"]
