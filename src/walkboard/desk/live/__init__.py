"""Live on the pages: the newest values, and the sessions that produce them.

- `hub`: the newest value of each topic, to every page that follows it
- `start`, `session`: a live session beside the server
- `messages`: what a session sends to the pages
- `block_queue`, `browser_source`: sound on its way in
- `bearings`, `practice`: the bearings, and the practice organ
"""
