"""The texts and figures of the pages, in the browser's language and key names.

- `catalogue`: every text of the pages, by page and key
- `figures`: numbers, dates and times as pages show them
- `stops`: stops and ranks with division and feet
- `preferences`: look, key names and language of each browser
"""
