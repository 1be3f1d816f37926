"""The book's migrations, read by Alembic; `versions` has one file per revision."""
