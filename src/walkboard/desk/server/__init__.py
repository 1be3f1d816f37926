"""The server: runs the desk of one book.

- `application`: everything put together around one book; `serving` starts it
- `gate`, `doorway`: who comes in, and what is answered while the rest loads (`early_page`)
- `outbox`: keeps what browsers send, each with an id
- `certificate`, `network`, `static_files`
"""
