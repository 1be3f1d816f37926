"""Hears an archive again when the listener has improved: on this machine, or on many.

- `jobs`: one recording and all that its hearing depends on, with the key of its result
- `sounds`: recordings on disk or in object storage
- `results`: finished work, by key; written whole or not at all
- `engines`: this machine's cores, or a Dask cluster
- `hear_archive`: every recording that has no result yet
- `compare`: what new hearings would change, before they replace anything
"""
