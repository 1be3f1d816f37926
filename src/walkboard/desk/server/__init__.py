"""The server: runs the desk of one book.

- `application`: assembles everything around one book; `serving` starts it
- `gate`, `doorway`: who may connect, and what is answered while the rest loads (`early_page`)
- `outbox`: keeps what browsers send, each with an id
- `authority`, `certificate`, `network`, `static_files`
"""
