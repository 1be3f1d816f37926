"""A recording: opened by its content, decoded, and checked for damage.

- `recording`: open a file or stream; read it block by block or span by span
- `containers`: what a stream holds, judged by its first bytes
- `decoder`: the interface that every decoder meets
- `libsndfile`, `pyav`: the decoders
- `quality`: overload, dead channels, offset, gaps
"""
