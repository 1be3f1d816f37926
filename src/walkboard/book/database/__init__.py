"""Where a book's records are: an SQLite file in its folder, or a database of a PostgreSQL server.

- `dialect`: what the rest of the book needs from either
- `address`: the file in the book's folder that names a server's database
- `sqlite`: the file in the folder
- `postgresql`: the server; its errors in `postgresql_trouble`, its programs in `postgresql_tools`
- `choosing`: which of the two a folder has
"""
