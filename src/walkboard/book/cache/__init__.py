"""A book that remembers its answers, for pages that ask the same again and again.

- `seen`: the book with remembered answers
- `noting`: what an answer depends on, noted while it is calculated
- `memory`: answers kept by key, each calculated once
"""
