"""Merges two copies of a book: what one has and the other lacks is appended; nothing is lost.

- `tables`: how facts, their parts and their organ hang together
- `planning`: which facts to append, and where in its series each belongs; pure
- `reading`: what one copy has of an organ
- `appending`: writes the missing facts of one organ
- `deriving`: sets the columns that repeat what the facts say
- `sounds`: copies the files of recordings and photographs
- `merging`: the part of the book that does all this, organ by organ
- `devices`: the copies of a book and their names
- `forks`: what several people did to the same thing on different copies

Facts are named by their uids, never by the numbers of rows, which differ between copies. The
result depends only on the facts, not on the order in which copies were merged.
"""
