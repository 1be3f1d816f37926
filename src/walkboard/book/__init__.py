"""The tuning book: a folder with one database and the recordings by content hash."""
