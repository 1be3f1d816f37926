"""Long work in the background.

- `jobs`: work in its own process, with progress
- `upload_queue`: recordings that have arrived and are not yet heard
- `exports`: files of the whole book
- `readiness`: whether the organ will be ready, stored and renewed
- `surveys`: what to draw together
"""
