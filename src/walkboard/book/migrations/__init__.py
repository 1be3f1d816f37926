"""The book's migrations, read by Alembic; `versions` holds one file a revision."""
