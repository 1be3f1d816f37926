"""The visit, from arrival to closing.

- `doors`: the addresses; `frame` what the steps share
- `arrival`, `listening`, `plan`, `work`, `closing`: the steps
"""
