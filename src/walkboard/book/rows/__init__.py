"""How facts become rows and are read back: every part of the book builds on this.

- `storing`: reads that see one moment, writes that hold the lock; what a book is built on
- `stamping`: gives each new row its uid, device, number, person and predecessors
- `acting`: who is at work
- `uids`: the names of facts, in the order in which they count
- `versions`: the newest and the first version of one thing
- `superseding`: which rows count now, and which new row replaces which old one
- `counting`: the triggers that count changes per organ and per visit
- `changes`: whether the book, or part of it, has changed
- `viewing`: one view of a book on a server for all that a request reads
- `values`: checks numbers and instants
"""
