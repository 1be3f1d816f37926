"""A book that remembers its answers, for pages that ask the same again and again.

- `seen`: the book with its answers remembered, and what each question depends on
- `remembering`: the memory: keeps an answer until something it depends on changes
- `noting`: what an answer depends on, noted while it is calculated
- `memory`: answers kept by key, each calculated once
"""
