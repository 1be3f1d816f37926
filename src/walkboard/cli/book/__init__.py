"""``walkboard book``.

- `commands`: the group; making a book and looking into it
- `copies`: exports, imports, copies, and copies taken along
"""
