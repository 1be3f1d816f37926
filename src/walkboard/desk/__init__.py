"""The pages: thin; they call `walkboard.work` and show what it gives."""
